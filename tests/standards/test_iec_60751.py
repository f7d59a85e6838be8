"""Platinum thermometers against IEC 60751:2022 and against an independent library (rtd-sensor, MPL-2.0)."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rtd_sensor import pt100, pt1000

from sensors import platinum

# IEC 60751:2022, reference function (coefficients read in rtd-sensor and at tinkererway.dev/the_dev_calc/rtd_calc):
# t_C, ohm by the equation, ohm as a table to 0.01 ohm prints it (the latter from memory; equal to the rounded equation)
PT100 = [
    (-50.0, 80.306282, 80.31),
    (0.0, 100.0, 100.0),
    (25.0, 109.734656, 109.73),
    (50.0, 119.397125, 119.40),
    (100.0, 138.505500, 138.51),
    (150.0, 157.325125, 157.33),
    (200.0, 175.856000, 175.86),
    (300.0, 212.051500, 212.05),
]
# IEC 60751:2022, tables 1 and 2 (class formulas read at instrumentationforum.com/t/rtd-standards/6685):
# t_C, class A in C, class B in C
TOLERANCES = [(-50.0, 0.25, 0.55), (0.0, 0.15, 0.3), (100.0, 0.35, 0.8), (200.0, 0.55, 1.3), (300.0, 0.75, 1.8)]

patient = settings(deadline=None)
anywhere = st.floats(platinum.LOW_C, platinum.HIGH_C)


@pytest.mark.parametrize(("celsius", "ohm", "rounded"), PT100)
def test_resistance_is_that_of_the_reference_function(celsius: float, ohm: float, rounded: float) -> None:
    """The equation gives the standard's resistances, and the printed table's when rounded."""
    assert platinum.ohm(celsius) == pytest.approx(ohm, abs=5e-7)
    assert platinum.ohm(celsius) == pytest.approx(rounded, abs=0.005 + 1e-9)
    assert platinum.ohm(celsius, 1000.0) == pytest.approx(10.0 * ohm, abs=5e-6)


@pytest.mark.parametrize(("celsius", "ohm", "rounded"), PT100)
def test_temperature_is_read_back_from_the_reference_function(celsius: float, ohm: float, rounded: float) -> None:
    """The inverse finds each of the standard's temperatures, and is within the rounding from the printed table."""
    assert platinum.thermometer()(ohm) == pytest.approx(celsius, abs=2e-6)
    assert platinum.thermometer()(rounded) == pytest.approx(celsius, abs=0.015)


def test_alpha_is_the_standards() -> None:
    """(R100 - R0) / (100 C * R0) is 3.851e-3 per C (read in the abstract of IEC 60751)."""
    alpha = (platinum.ohm(100.0) - platinum.ohm(0.0)) / (100.0 * platinum.ohm(0.0))
    assert alpha == pytest.approx(3.851e-3, abs=5e-7)


@pytest.mark.parametrize(("celsius", "class_a", "class_b"), TOLERANCES)
def test_tolerances_are_the_standards(celsius: float, class_a: float, class_b: float) -> None:
    """Class A is 0.15 + 0.002|t|, class B 0.3 + 0.005|t|."""
    assert platinum.tolerance_c(celsius, "A") == pytest.approx(class_a)
    assert platinum.tolerance_c(celsius, "B") == pytest.approx(class_b)


@patient
@given(anywhere)
def test_resistance_agrees_with_an_independent_library(celsius: float) -> None:
    """rtd-sensor computes the same resistance over the whole range, Pt100 and Pt1000."""
    assert platinum.ohm(celsius) == pytest.approx(pt100.celsius_to_resistance(celsius), abs=1e-10)
    assert platinum.ohm(celsius, 1000.0) == pytest.approx(pt1000.celsius_to_resistance(celsius), abs=1e-9)


@patient
@given(anywhere)
def test_temperature_agrees_with_an_independent_library(celsius: float) -> None:
    """rtd-sensor's own inverse finds the same temperature, on both branches, to far better than 1e-6 C."""
    ohm = pt100.celsius_to_resistance(celsius)
    assert platinum.thermometer()(ohm) == pytest.approx(pt100.resistance_to_celsius(ohm), abs=1e-9)
    assert platinum.thermometer(1000.0)(10.0 * ohm) == pytest.approx(celsius, abs=1e-9)
