"""The derived figures for the screen, and the source resistance."""

from random import Random

import pytest

from alerts.estimators.source import SourceResistance
from alerts.judge import Judge
from alerts.limits import Limits
from alerts.types import Situation
from sensors.types import CHANNELS, INDEX, NAN, Drive, Frame, Quality

C, R, AIR = 400.0, 1.4, 21.0


def test_the_source_resistance_is_what_the_edges_lose() -> None:
    """0.08 ohm from three noisy edges, and a spike beside an edge does nothing."""
    source, noise = SourceResistance(), Random(3).gauss
    for edge in range(3):
        for i in range(20):
            keyed = i >= 10
            amps = 3.5 if keyed else 0.1
            volts = 13.8 - 0.08 * amps + noise(0.0, 0.005)
            source.feed(volts + (5.0 if edge == 1 and i == 9 else 0.0), amps, keyed, i >= 12)
    assert source.edges == 3
    assert source.ohm == pytest.approx(0.08, abs=0.005)


def soak(minutes: float, hot_idle_from_s: float = 1e9, **limits: float) -> Judge:
    """A unit of known heatsink through idle and carrier; frames as a node would send them."""
    judge = Judge("bay-1", Limits.model_validate(limits))
    now = Situation(soaking=True, sample_s=1.0, on_limit_s=7200.0)
    t, noise = AIR, Random(5).gauss
    for i in range(int(60 * minutes)):
        idle, keyed = i < 300 or i >= hot_idle_from_s, i >= 60
        now.drive = Drive.IDLE if idle else Drive.CARRIER
        now.key_asked, now.asked_since_s, now.phase_since_s = keyed, 60.0, 60.0 if idle else 300.0
        amps = (0.25 if idle else 1.9) * (1 + 0.001 * (t - AIR)) if keyed else 0.0
        watt = 25.0 if keyed and not idle else 0.0
        t += (13.8 * 2 * amps - watt - (t - AIR) / R) / C
        values = [NAN] * len(CHANNELS)
        for name, value in {
            "heatsink": t + noise(0, 0.03),
            "drain-1": amps + noise(0, 0.002),
            "drain-2": amps + noise(0, 0.002),
            "supply": 13.8,
            "forward": watt,
            "ambient": AIR,
            "key": float(keyed),
        }.items():
            values[INDEX[name]] = value
        quality = bytes(Quality.GOOD if v == v else Quality.MISSING for v in values)  # noqa: PLR0124  nan
        judge.step(Frame("bay-1", i * 10**9, float(i), i, tuple(values), quality), now)
    return judge


def test_the_figures_are_those_of_the_unit() -> None:
    """R, tau, the forecast and the idle current are found from the frames alone, within their own bands."""
    told = soak(40.0, junction_k_per_w=2.0).figures()
    assert told.heatsink_k_per_w == pytest.approx(R, rel=0.1)
    assert told.heatsink_tau_s == pytest.approx(R * C, rel=0.15)
    assert told.forecast_peak_c == pytest.approx(AIR + R * 28.5, abs=3.0)
    assert told.time_to_limit_s is None
    assert told.idle_25c_a == pytest.approx(0.5, rel=0.03)
    assert told.loop_gain is not None
    assert told.loop_gain < 0.3
    assert len(told.junction_c) == 2
    assert told.junction_c[0] == pytest.approx(AIR + R * 28.5 + 2.0 * 14.2, abs=4.0)


def test_a_hot_idle_phase_tells_the_temperature_coefficient_and_a_cold_one_alone_does_not() -> None:
    """0.5 A at the air's temperature, and a thousandth of it more for each kelvin; two-hours ends like that."""
    assert soak(20.0).figures().idle_per_k_a is None
    told = soak(25.0, hot_idle_from_s=1260.0).figures()
    assert told.idle_per_k_a == pytest.approx(0.0005, rel=0.05)
    assert told.idle_25c_a == pytest.approx(0.5 * (1 + 0.001 * (25.0 - AIR)), rel=0.005)


def test_what_is_not_known_is_not_told() -> None:
    """In a soak's first minutes there is no figure at all, and no junction estimate without its thermal resistance."""
    told = soak(3.0).figures()
    assert told.heatsink_k_per_w is None
    assert told.forecast_peak_c is None
    assert told.loop_gain is None
    assert told.junction_c == ()
