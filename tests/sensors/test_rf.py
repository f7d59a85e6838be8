"""Power and match, at the edges that a bench meets."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors import rf

patient = settings(deadline=None)
powers = st.floats(1e-6, 1e6)
anything = st.floats(allow_nan=True, allow_infinity=False)


@patient
@given(powers)
def test_power_goes_there_and_back(watt: float) -> None:
    """By dBm, by peak and by effective voltage."""
    assert rf.w_from_dbm(rf.dbm_from_w(watt)) == pytest.approx(watt)
    assert rf.w_from_peak_v(rf.peak_v_from_w(watt)) == pytest.approx(watt)
    assert rf.w_from_rms_v(rf.rms_v_from_w(watt)) == pytest.approx(watt)


@patient
@given(st.floats(1.0, 1e3))
def test_swr_goes_there_and_back(swr: float) -> None:
    """By the reflection coefficient's magnitude."""
    assert rf.swr_from_gamma(rf.gamma_from_swr(swr)) == pytest.approx(swr, rel=1e-9)


@patient
@given(st.floats(1.0, 1e3), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_more_reflection_is_more_swr(forward_w: float, one: float, other: float) -> None:
    """SWR rises, and return loss falls, with the reflected share."""
    less, more = sorted((one, other))
    assert rf.swr(forward_w, less * forward_w) <= rf.swr(forward_w, more * forward_w)
    assert rf.return_loss_db(forward_w, less * forward_w) >= rf.return_loss_db(forward_w, more * forward_w)


@patient
@given(anything, anything)
def test_swr_is_at_least_one_or_not_told(forward_w: float, reflected_w: float) -> None:
    """Whatever is read, SWR is 1 or more, or nan; and no exception."""
    swr = rf.swr(forward_w, reflected_w)
    assert math.isnan(swr) or swr >= 1.0


@pytest.mark.parametrize("forward_w", [0.0, 0.499, -1.0, math.nan])
def test_no_swr_under_the_forward_floor(forward_w: float) -> None:
    """With next to no forward power the reflected reading is the detector's floor, and SWR is not told."""
    assert math.isnan(rf.swr(forward_w, 0.1))
    assert math.isnan(rf.return_loss_db(forward_w, 0.1))
    assert math.isnan(rf.swr(0.0, 0.0, floor_w=0.0))


def test_reflected_at_or_over_forward_is_an_infinite_swr() -> None:
    """An open or shorted feeder sends all back; reading noise over that is no negative SWR."""
    assert rf.swr(10.0, 10.0) == math.inf
    assert rf.swr(10.0, 10.5) == math.inf
    assert rf.mismatch_loss_db(1.0) == math.inf


def test_a_reflected_reading_under_zero_is_no_reflection() -> None:
    """A detector's noise about nothing gives SWR 1."""
    assert rf.swr(10.0, -0.02) == 1.0


def test_no_power_is_minus_infinite_dbm() -> None:
    """0 W has a level, below all others."""
    assert rf.dbm_from_w(0.0) == -math.inf
    assert rf.gamma_from_swr(math.inf) == 1.0
