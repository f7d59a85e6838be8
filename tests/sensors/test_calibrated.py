"""A calibration at work on the way of a reading: added after the conversion, and taken away again without loss."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.calibrated import Cell, Line, corrected, expanded_uncertainty, standard_uncertainty
from sensors.calibration import fit
from sensors.errors import CalibrationUnfit
from sensors.intake import Intake
from sensors.senml import encode
from sensors.types import FORWARD, HEATSINK, KEY, LinkStats, Quality
from sensors.wiring import Straight, plain

readings = st.floats(-1e4, 1e4)
lines = st.builds(Line, st.floats(-100, 100), st.floats(-0.98, 10), st.floats(-1e3, 1e3))


@given(lines, readings)
def test_a_reading_comes_back_from_its_corrected_value(line: Line, reading: float) -> None:
    """Inverse after forward is the identity, to the rounding of doubles as the gain magnifies it."""
    scale = abs(reading) + abs(line.pivot) + abs(line.intercept) + abs(line.slope * (reading - line.pivot))
    room = 8 * math.ulp(max(scale, 1.0)) / (1 + line.slope)
    assert math.isclose(line.reading(line.value(reading)), reading, rel_tol=0, abs_tol=room)


@given(lines, st.lists(readings, min_size=2, max_size=5, unique=True))
def test_a_line_keeps_the_order_of_readings(line: Line, several: list[float]) -> None:
    """What was less is not more after the correction: so is no alert turned round by it."""
    values = [line.value(reading) for reading in sorted(several)]
    assert all(a <= b for a, b in pairwise(values))


@pytest.mark.parametrize("top", [0.0, 0.05, -10.0])
def test_a_line_that_could_not_be_undone_is_refused(top: float) -> None:
    """References that stay as they are, or fall, while readings rise are a mix-up."""
    found = fit([0.0, 10.0], [0.0, top])
    with pytest.raises(CalibrationUnfit, match="do not rise together"):
        Line.of(found)


def test_a_correction_goes_over_the_conversion_and_changes_at_once() -> None:
    """The line that is in the cell at that instant counts; without one the conversion alone does."""
    cell = Cell()
    wrapped = corrected(Straight(kind="line", gives="A", zero=0.5, span=2.0).build(), cell)
    assert wrapped(2.5, "V") == (4.0, Quality.GOOD)
    cell.correction = Line.of(fit([0.0, 4.0], [0.1, 4.3]))
    assert wrapped(2.5, "V")[0] == pytest.approx(4.3)
    assert wrapped(0.5, "V")[0] == pytest.approx(0.1)


def test_what_has_no_value_is_not_corrected() -> None:
    """An open sensor stays open, and a value that no double holds is outside."""
    wrapped = corrected(plain("heatsink"), Cell(Line(1.0, 1e3, 0.0)))
    assert wrapped(20.0, "K")[1] is Quality.REFUSED
    assert math.isnan(wrapped(20.0, "K")[0])
    assert wrapped(1e308, "Cel")[1] is Quality.OUTSIDE


def test_the_intake_gives_corrected_readings() -> None:
    """On the live path the Frame holds the corrected value; other channels, and the key, are as they were."""
    cell = Cell()
    intake = Intake({"bay-1": {"forward": corrected(plain("forward"), cell)}}, LinkStats())
    pack = encode("bay-1", 1_764_054_000.0, [("forward", "W", 20.0), ("heatsink", "Cel", 30.0), ("key", "", True)])
    (frame,) = intake.feed(pack, 0.0, 0)
    assert frame.values[FORWARD] == 20.0
    cell.correction = Line(0.5, 0.02, 10.0)
    (frame,) = intake.feed(pack, 1.0, 0)
    assert frame.values[FORWARD] == pytest.approx(20.7)
    assert frame.values[HEATSINK] == 30.0
    assert frame.values[KEY] == 1.0


def test_the_references_own_uncertainty_is_in_quadrature() -> None:
    """JCGM 100:2008, 5.1.2: independent parts add in squares; k = 2 doubles them."""
    found = fit([10.0, 20.0, 30.0, 40.0], [10.1, 20.3, 30.2, 40.4], 25.0)
    alone = found.uncertainty(35.0)
    assert standard_uncertainty(found, 0.3, 35.0) == pytest.approx(math.sqrt(alone**2 + 0.09))
    assert expanded_uncertainty(found, 0.3, 35.0) == 2 * standard_uncertainty(found, 0.3, 35.0)


def test_two_points_leave_the_reference_alone() -> None:
    """Nothing is known of how far readings lie off the line, so only the reference's uncertainty is counted."""
    assert standard_uncertainty(fit([10.0, 20.0], [10.1, 20.3]), 0.3, 35.0) == 0.3
