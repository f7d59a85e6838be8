"""Facts of the trade as check values: common practice, no source."""

import math

import pytest

from alerts.judge import Judge
from alerts.limits import Limits
from alerts.types import Finding, Situation
from sensors import rf
from sensors.detector import detector
from sensors.types import CHANNELS, INDEX, NAN, Drive, Frame, Quality

SAMPLES = 10_000
CARRIER_V = 50.0


def forward_w(i_v: list[float], q_v: list[float]) -> float:
    """What a mean-reading power detector shows for an in-phase and a quadrature voltage (peak RF volts)."""
    return math.fsum(rf.w_from_peak_v(math.hypot(i, q)) for i, q in zip(i_v, q_v, strict=True)) / len(i_v)


@pytest.mark.parametrize("index", [0.5, 2.4048, 5.0])
def test_an_fm_carrier_reads_as_the_unmodulated_am_carrier(index: float) -> None:
    """Frequency modulation leaves the envelope alone: its forward power is the bare carrier's (no source)."""
    phase = [index * math.sin(2 * math.pi * k / SAMPLES) for k in range(SAMPLES)]
    fm_w = forward_w([CARRIER_V * math.cos(p) for p in phase], [CARRIER_V * math.sin(p) for p in phase])
    am_carrier_w = forward_w([CARRIER_V] * SAMPLES, [0.0] * SAMPLES)
    assert fm_w == pytest.approx(am_carrier_w, rel=1e-12)
    assert am_carrier_w == pytest.approx(25.0)


def test_both_carriers_give_one_detector_reading() -> None:
    """The same envelope gives the same detector voltage, and so the same reading of its table (no source)."""
    read_w = detector([(0.1, 30.0), (1.0, 50.0)])
    envelopes_v = [CARRIER_V * abs(complex(math.cos(p), math.sin(p))) for p in (0.0, 0.7, 2.0, 4.1)]
    readings_w = [read_w(volts / 100.0) for volts in envelopes_v]
    assert readings_w == pytest.approx([readings_w[0]] * 4, rel=1e-12)


def imbalance_findings(first_a: float, second_a: float) -> list[Finding]:
    """What current-imbalance says of a minute keyed without drive."""
    judge = Judge("bay-1", Limits())
    idle = Situation(soaking=True, drive=Drive.IDLE, key_asked=True)
    readings = {"heatsink": 25.0, "drain-1": first_a, "drain-2": second_a, "supply": 13.8, "forward": 0.0, "key": 1.0}
    values = tuple(readings.get(name, NAN) for name in CHANNELS)
    quality = bytearray([Quality.MISSING] * len(CHANNELS))
    for name in readings:
        quality[INDEX[name]] = Quality.GOOD
    found: list[Finding] = []
    for k in range(120):
        clock_s = k * 0.5
        found += judge.step(Frame("bay-1", round(clock_s * 1e9), clock_s, k, values, bytes(quality)), idle)
    return [finding for finding in found if finding.rule == "current-imbalance"]


def test_a_pair_is_matched_when_both_idle_currents_agree() -> None:
    """Two equal idle currents are a matched pair, and are let pass; twice the one is not (no source)."""
    assert imbalance_findings(0.25, 0.25) == []
    assert imbalance_findings(0.17, 0.34) != []
