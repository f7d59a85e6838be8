"""Peak envelope, mean and carrier power as the ITU Radio Regulations define them (Nos. 1.157 to 1.159).

Definitions read in FED-STD-1037C (carrier power, quoting the RR) and the IALA dictionary (mean power, quoting ITU), in
own words: peak envelope power is the power averaged over one RF cycle at the envelope's highest point; mean power is
averaged over long against the lowest modulation's period; carrier power over one RF cycle without modulation.
"""

import math
from collections.abc import Callable

import pytest

from sensors import rf

SAMPLES = 20_000
CARRIER_V = 50.0  # peak, 25 W in 50 ohm
CARRIER_W = 25.0

# relative to the carrier's power, closed form (1+m)**2 and 1+m**2/2: depth, PEP, mean
AM_SINGLE_TONE = [(0.0, 1.0, 1.0), (0.3, 1.69, 1.045), (0.5, 2.25, 1.125), (0.8, 3.24, 1.32), (1.0, 4.0, 1.5)]


def sampled(envelope_v: Callable[[float], float]) -> tuple[float, float]:
    """Peak envelope and mean power of one period (0 to 1) of an envelope of peak RF volts, by definition."""
    powers_w = [rf.w_from_peak_v(envelope_v(i / SAMPLES)) for i in range(SAMPLES)]
    return max(powers_w), math.fsum(powers_w) / SAMPLES


@pytest.mark.parametrize(("depth", "peak", "mean"), AM_SINGLE_TONE)
def test_single_tone_am_from_a_sampled_envelope(depth: float, peak: float, mean: float) -> None:
    """PEP is (1+m)**2 and mean 1+m**2/2 times the carrier, 4 and 1.5 at 100 %; sampled and closed form."""
    peak_w, mean_w = sampled(lambda x: CARRIER_V * (1.0 + depth * math.cos(2 * math.pi * x)))
    assert peak_w / CARRIER_W == pytest.approx(peak, rel=1e-9)
    assert mean_w / CARRIER_W == pytest.approx(mean, rel=1e-9)
    assert rf.am_peak_over_carrier(depth) == pytest.approx(peak)
    assert rf.am_mean_over_carrier(depth) == pytest.approx(mean)


@pytest.mark.parametrize("tones", [1, 2, 3, 5])
def test_n_equal_tones_have_peak_n_times_mean(tones: int) -> None:
    """n equal tones without a carrier, in phase at one instant: PEP = n * mean; 2 for the two-tone test."""

    def envelope_v(x: float) -> float:
        at = [2 * math.pi * k * x for k in range(tones)]
        return 10.0 * math.hypot(math.fsum(map(math.cos, at)), math.fsum(map(math.sin, at)))

    peak_w, mean_w = sampled(envelope_v)
    assert peak_w / mean_w == pytest.approx(tones, rel=1e-9)
    assert rf.tones_peak_over_mean(tones) == tones


def test_two_tone_from_its_envelopes_peak() -> None:
    """Two-tone in 50 ohm: PEP = Vpk**2/(2*50), mean = Vpk**2/(4*50); 3.0103 dB apart."""
    peak_w, mean_w = sampled(lambda x: 100.0 * abs(math.cos(math.pi * x)))
    assert peak_w == pytest.approx(100.0)
    assert mean_w == pytest.approx(50.0)
    assert rf.dbm_from_w(peak_w) - rf.dbm_from_w(mean_w) == pytest.approx(3.0103, abs=1e-4)


def test_full_am_peak_lies_4_26_db_over_its_mean() -> None:
    """PEP/mean of single-tone AM at 100 % is 8/3, 4.259687 dB."""
    ratio = rf.am_peak_over_carrier(1.0) / rf.am_mean_over_carrier(1.0)
    assert ratio == pytest.approx(8.0 / 3.0)
    assert 10.0 * math.log10(ratio) == pytest.approx(4.259687, abs=1e-6)


@pytest.mark.parametrize("duty", [1.0, 0.5, 0.25])
def test_keyed_carrier_has_mean_by_its_duty(duty: float) -> None:
    """A carrier keyed for a share d of the time has PEP = mean/d; key-down throughout, PEP = mean."""
    peak_w, mean_w = sampled(lambda x: CARRIER_V if x < duty else 0.0)
    assert peak_w / mean_w == pytest.approx(1.0 / duty)
    assert rf.keyed_peak_over_mean(duty) == pytest.approx(1.0 / duty)


def test_power_from_peak_voltage() -> None:
    """P = Vpk**2/(2R): 100 V peak in 50 ohm are 100 W, 70.710678 V rms."""
    assert rf.w_from_peak_v(100.0) == pytest.approx(100.0)
    assert rf.rms_v_from_w(100.0) == pytest.approx(70.710678, abs=1e-6)
