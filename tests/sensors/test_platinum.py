"""Platinum thermometers: there and back, rising, and nothing beyond the range."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sensors import platinum

patient = settings(deadline=None)
anywhere = st.floats(platinum.LOW_C, platinum.HIGH_C)


@patient
@given(anywhere, st.sampled_from([100.0, 500.0, 1000.0]))
def test_temperature_goes_there_and_back(celsius: float, r0_ohm: float) -> None:
    """A temperature's resistance is read as that temperature, to 1e-9 C on both branches."""
    assert platinum.thermometer(r0_ohm)(platinum.ohm(celsius, r0_ohm)) == pytest.approx(celsius, abs=1e-9)


@patient
@given(anywhere, anywhere)
def test_more_resistance_is_more_heat(one_c: float, other_c: float) -> None:
    """The reading rises strictly with resistance, over the joint at 0 C too."""
    assume(abs(one_c - other_c) > 1e-6)
    cold, hot = sorted((one_c, other_c))
    read = platinum.thermometer()
    assert read(platinum.ohm(cold)) < read(platinum.ohm(hot))


@pytest.mark.parametrize("celsius", [platinum.LOW_C, -1e-9, 0.0, 1e-9, platinum.HIGH_C])
def test_the_joint_and_the_ends_are_read(celsius: float) -> None:
    """Rounding loses neither end of the range nor 0 C."""
    assert platinum.thermometer()(platinum.ohm(celsius)) == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize("ohm", [-1.0, 0.0, 18.0, 391.0, math.inf, math.nan])
def test_nothing_is_read_beyond_the_range(ohm: float) -> None:
    """A resistance that no temperature from -200 to 850 C has is none."""
    assert math.isnan(platinum.thermometer()(ohm))


@pytest.mark.parametrize("celsius", [-200.1, 850.1, math.nan])
def test_nothing_is_given_beyond_the_range(celsius: float) -> None:
    """The reference function is not used where it does not hold."""
    assert math.isnan(platinum.ohm(celsius))
