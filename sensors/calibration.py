"""A channel's calibration: a straight line through readings against a reference, with what is not known of it.

Ordinary least squares with standard uncertainties and covariance of both parameters, as JCGM 100:2008 (GUM) has it in
annex H.3; the correction of a reading has the uncertainty of both, correlation included.
"""

from collections.abc import Sequence
from math import fsum, isfinite, nan, sqrt
from typing import NamedTuple

from sensors.errors import CalibrationUnfit

COVERAGE_FACTOR = 2.0  # expanded uncertainty for about 95 %, GUM 6.3


class Fit(NamedTuple):
    """``correction = intercept + slope * (reading - pivot)``: what is added to a reading, in the reading's unit.

    ``u_`` are standard uncertainties, ``correlation`` is theirs, ``residual`` the standard deviation about the line
    with ``freedom`` degrees of freedom; nan, as all that
    follows from it, where two points leave nothing to judge it by.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    correlation: float
    residual: float
    freedom: int
    pivot: float

    def correction(self, reading: float) -> float:
        """What to add to ``reading``."""
        return self.intercept + self.slope * (reading - self.pivot)

    def uncertainty(self, reading: float) -> float:
        """The standard uncertainty of the correction at ``reading``; GUM H.3.4, equation H.15."""
        away = reading - self.pivot
        variance = (
            self.u_intercept**2
            + (away * self.u_slope) ** 2
            + 2 * away * self.correlation * self.u_intercept * self.u_slope
        )
        return 0.0 if variance <= 0.0 else sqrt(variance)

    def expanded(self, reading: float) -> float:
        """The expanded uncertainty of the correction, coverage factor 2."""
        return COVERAGE_FACTOR * self.uncertainty(reading)


def fit(readings: Sequence[float], references: Sequence[float], pivot: float = 0.0) -> Fit:
    """The line of ``reference - reading`` over the reading, by least squares (GUM H.3.2, equations H.13).

    Raises CalibrationUnfit for fewer than two points, for points with one and the same reading, and for a number that
    is not finite.
    """
    if len(readings) != len(references):
        raise CalibrationUnfit(f"{len(readings)} readings, but {len(references)} reference values")
    if len(readings) < 2:
        raise CalibrationUnfit("two points at the least make a line")
    if not all(isfinite(value) for value in (*readings, *references)):
        raise CalibrationUnfit("every point must be a finite number")
    count = len(readings)
    mean = fsum(readings) / count
    # about the mean: the textbook sums cancel where all readings are near each other
    spread = fsum((x - mean) ** 2 for x in readings)
    if spread <= (1e-12 * max(1.0, abs(mean))) ** 2:
        raise CalibrationUnfit("all points have the same reading: take them apart, over the range that is used")
    corrections = [reference - reading for reading, reference in zip(readings, references, strict=True)]
    mean_correction = fsum(corrections) / count
    slope = fsum((x - mean) * (b - mean_correction) for x, b in zip(readings, corrections, strict=True)) / spread
    intercept = mean_correction + slope * (pivot - mean)
    freedom = count - 2
    squares = fsum((b - mean_correction - slope * (x - mean)) ** 2 for x, b in zip(readings, corrections, strict=True))
    residual = sqrt(squares / freedom) if freedom else nan
    away = mean - pivot
    u_slope = residual / sqrt(spread)
    scale = sqrt(1 / count + away**2 / spread)
    return Fit(
        intercept=intercept,
        slope=slope,
        u_intercept=residual * scale,
        u_slope=u_slope,
        correlation=-away / (sqrt(spread) * scale),
        residual=residual,
        freedom=freedom,
        pivot=pivot,
    )
