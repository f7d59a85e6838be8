"""A calibration line against JCGM 100:2008 (GUM), annex H.3, and against scipy's own least squares.

Data (table H.6), parameters and their uncertainties, the correlation -0.93 and the correction at 30 °C: as read in the
GTC documentation's example "GUM H.3" and its repository; r = -0.930 and s = 0.0035 are from memory.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sensors.calibration import fit
from sensors.errors import CalibrationUnfit

READINGS = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
CORRECTIONS = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
REFERENCES = [t + b for t, b in zip(READINGS, CORRECTIONS, strict=True)]


def test_the_thermometer_of_annex_h3() -> None:
    """Intercept and slope about 20 °C, their uncertainties and correlation, and the correction at 30 °C."""
    line = fit(READINGS, REFERENCES, pivot=20.0)
    assert line.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert line.u_intercept == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.u_slope == pytest.approx(0.00067, abs=5e-6)
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.residual == pytest.approx(0.0035, abs=5e-5)
    assert line.freedom == 9
    assert line.correction(30.0) == pytest.approx(-0.1494, abs=5e-5)
    assert line.uncertainty(30.0) == pytest.approx(0.0041, abs=5e-5)
    assert line.expanded(30.0) == pytest.approx(2 * 0.0041, abs=1e-4)


def test_without_the_correlation_the_uncertainty_would_be_wrong() -> None:
    """Dropping the covariance gives 0.0073 at 30 °C: the trap of the example."""
    line = fit(READINGS, REFERENCES, pivot=20.0)
    wrong = line._replace(correlation=0.0)
    assert wrong.uncertainty(30.0) == pytest.approx(0.0073, abs=5e-5)


def test_scipy_s_linregress_agrees() -> None:
    """Slope, intercept and both standard errors, about zero."""
    line = fit(READINGS, REFERENCES)
    other = stats.linregress(READINGS, CORRECTIONS)
    ours = [line.slope, line.intercept, line.u_slope, line.u_intercept]
    theirs = [other.slope, other.intercept, other.stderr, other.intercept_stderr]
    assert ours == pytest.approx(theirs, rel=1e-9)


@given(st.floats(-50, 50), st.floats(-100, 100))
def test_where_the_pivot_lies_changes_no_correction_and_no_uncertainty(pivot: float, reading: float) -> None:
    """The line is the same line."""
    here, there = fit(READINGS, REFERENCES, pivot=pivot), fit(READINGS, REFERENCES)
    assert here.correction(reading) == pytest.approx(there.correction(reading), abs=1e-9)
    assert here.uncertainty(reading) == pytest.approx(there.uncertainty(reading), rel=1e-6, abs=1e-9)


@given(st.floats(-10, 10), st.floats(-0.5, 0.5))
def test_two_points_are_met_exactly_and_leave_no_residual(offset: float, gain: float) -> None:
    """No degree of freedom, so their uncertainty is not known, and not said to be none."""
    line = fit([1.0, 5.0], [1.0 + offset + gain, 5.0 + offset + 5 * gain])
    assert line.correction(1.0) == pytest.approx(offset + gain, abs=1e-9)
    assert line.correction(5.0) == pytest.approx(offset + 5 * gain, abs=1e-9)
    assert line.freedom == 0
    assert math.isnan(line.uncertainty(3.0))


@pytest.mark.parametrize(
    ("readings", "references", "why"),
    [
        ([1.0], [1.0], "two points"),
        ([1.0, 1.0], [1.0, 2.0], "the same reading"),
        ([1.0, float("nan")], [1.0, 2.0], "finite"),
        ([1.0, 2.0], [1.0], "2 readings, but 1"),
    ],
)
def test_points_that_make_no_line_are_refused(readings: list[float], references: list[float], why: str) -> None:
    """With what would be right."""
    with pytest.raises(CalibrationUnfit, match=why):
        fit(readings, references)
