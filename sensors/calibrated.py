"""A channel's calibration at work: the correction that is added to every converted reading, and taken away again."""

from math import hypot, isfinite
from typing import NamedTuple, Self

from sensors.calibration import COVERAGE_FACTOR, Fit
from sensors.calibration_table import Table
from sensors.conversion import GOOD, OUTSIDE, Answer, Convert
from sensors.errors import CalibrationUnfit

#: a line that leaves less of a reading's change than this is no calibration, and could not be undone without loss;
#: at 0 and below two readings would become one (common practice, no source)
LEAST_GAIN = 0.01


class Line(NamedTuple):
    """``value = reading + intercept + slope * (reading - pivot)``, in the channel's unit; one to one, so reversible."""

    intercept: float
    slope: float
    pivot: float

    @classmethod
    def of(cls, fit: Fit) -> Self:
        """The line of a fit; raises CalibrationUnfit where it could not be undone."""
        gain = 1.0 + fit.slope
        if not gain >= LEAST_GAIN:
            raise CalibrationUnfit(
                f"the reading would be multiplied by {gain:.3g}, so that it could not be told from the corrected "
                "value: the points do not rise together; look whether reading and reference were mixed up"
            )
        return cls(fit.intercept, fit.slope, fit.pivot)

    def value(self, reading: float) -> float:
        """The corrected value of a reading."""
        return reading + (self.intercept + self.slope * (reading - self.pivot))

    def reading(self, value: float) -> float:
        """The reading of which ``value`` is the corrected one."""
        return self.pivot + (value - self.intercept - self.pivot) / (1.0 + self.slope)


Correction = Line | Table
"""What a calibration does: a line corrects a reading in the channel's unit, a table values a detector's volts."""


class Cell:
    """Where a channel's correction is put, to be used from the next record on; any thread may do so, at any time."""

    __slots__ = ("correction",)

    def __init__(self, correction: Correction | None = None) -> None:
        self.correction = correction


def corrected(convert: Convert, cell: Cell) -> Convert:
    """``convert``, and then the line that is in ``cell``, or the table in it instead of ``convert``.

    What has no value stays as it is. A table knows volts alone: watts of a node's own are refused while it is there.
    """

    def convert_and_correct(value: float, unit: str) -> Answer:
        correction = cell.correction  # once: it may be another one an instant later
        if isinstance(correction, Table):
            return correction.answer(value, unit)
        answer = convert(value, unit)
        if correction is None or answer[1] != GOOD:
            return answer
        right = correction.value(answer[0])
        return (right, GOOD) if isfinite(right) else OUTSIDE

    return convert_and_correct


def standard_uncertainty(fit: Fit, u_reference: float, reading: float) -> float:
    """Of the corrected value at ``reading``: the line's and the reference's in quadrature (JCGM 100:2008, 5.1.2).

    Two points leave no residual to judge the line by: then it is the reference's alone.
    """
    return hypot(fit.uncertainty(reading), u_reference) if fit.freedom else u_reference


def expanded_uncertainty(fit: Fit, u_reference: float, reading: float) -> float:
    """The same with coverage factor 2."""
    return COVERAGE_FACTOR * standard_uncertainty(fit, u_reference, reading)
