"""Straight lines: zero and span, shunt, Hall sensor."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.line import Line, hall, shunt

patient = settings(deadline=None)


@patient
@given(st.floats(-1e3, 1e3), st.floats(-10, 10), st.floats(0.01, 100))
def test_a_line_goes_there_and_back(value: float, zero: float, span: float) -> None:
    """A value's raw reading is read as that value, whichever way the span runs."""
    for line in (Line(zero, span), Line(zero, -span)):
        assert line.value(line.raw(value)) == pytest.approx(value, abs=1e-9)


def test_zero_reads_as_nothing() -> None:
    """The raw reading that is the zero stands for 0."""
    assert Line(0.1, 2.5).value(0.1) == 0.0


def test_a_shunt_reads_by_ohms_law() -> None:
    """10 milliohm and a gain of 40, 0.1 V at rest: 0.9 V are 2 A."""
    assert shunt(0.01, 40.0, 0.1).value(0.9) == pytest.approx(2.0)


def test_a_hall_sensor_reads_from_the_middle_of_its_supply() -> None:
    """0.02 of the supply an ampere about one half: 0.56 is 3 A, 0.44 is -3 A, and turned round the other way."""
    assert hall(0.02).value(0.56) == pytest.approx(3.0)
    assert hall(0.02).value(0.44) == pytest.approx(-3.0)
    assert hall(-0.02).value(0.44) == pytest.approx(3.0)
