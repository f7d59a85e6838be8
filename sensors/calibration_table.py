"""A power detector's calibration: a table of points in (log V, dBm) with what is not known of each reading by it.

A reading between two points is the mean of both, weighted by where it lies; so its variance is the points' variances
with the squares of those weights, and the reference instrument's whole, since one and the same instrument stood behind
both (JCGM 100:2008, 5.1.2 and 5.2.2). Never beyond the ends of the table.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence

from sensors.calibration import COVERAGE_FACTOR
from sensors.conversion import REFUSED, Answer
from sensors.detector import answering
from sensors.errors import CalibrationUnfit, ConversionUnfit
from sensors.rf import dbm_from_w

#: of a power, for each dB: d ln P / d dB
PER_DB = math.log(10.0) / 10.0


class Table:
    """``points`` are (V, dBm, the point's own standard uncertainty in dB), ``u_reference_db`` the instrument's.

    Raises CalibrationUnfit for fewer than two points, a voltage not above 0, or a power that does not rise with it.
    """

    __slots__ = ("_answer", "_logs", "points", "u_reference_db")

    def __init__(self, points: Sequence[tuple[float, float, float]], u_reference_db: float) -> None:
        self.points = tuple(sorted(points))
        self.u_reference_db = u_reference_db
        if not all(math.isfinite(part) for point in self.points for part in point):
            raise CalibrationUnfit("every point must be finite numbers")
        if u_reference_db < 0 or any(u < 0 for _, _, u in self.points):
            raise CalibrationUnfit("an uncertainty is 0 or more")
        try:
            self._answer = answering([(volts, dbm) for volts, dbm, _ in self.points])
        except ConversionUnfit as err:
            raise CalibrationUnfit(err.why) from err
        self._logs = [math.log(volts) for volts, _, _ in self.points]

    def answer(self, value: float, unit: str) -> Answer:
        """What a record of this value and unit is, W, and its quality: a table knows volts alone."""
        return self._answer(value) if unit == "V" else REFUSED

    def value(self, volts: float) -> float:
        """The power, W; nan outside the table."""
        return self._answer(volts)[0]

    def reading(self, watts: float) -> float:
        """The volts of which ``watts`` is the value; nan outside the table."""
        points = self.points
        dbm = dbm_from_w(watts) if watts > 0 else -math.inf
        if watts != watts or not points[0][1] - 1e-9 <= dbm <= points[-1][1] + 1e-9:  # noqa: PLR0124  nan
            return math.nan
        i = min(max(bisect_right(points, dbm, key=lambda point: point[1]) - 1, 0), len(points) - 2)
        share = (dbm - points[i][1]) / (points[i + 1][1] - points[i][1])
        return math.exp(self._logs[i] + min(max(share, 0.0), 1.0) * (self._logs[i + 1] - self._logs[i]))

    def u_db(self, volts: float) -> float:
        """The standard uncertainty of the reading at ``volts``, dB; nan outside the table."""
        points = self.points
        if not points[0][0] <= volts <= points[-1][0]:
            return math.nan
        i = min(bisect_right(points, volts, key=lambda point: point[0]) - 1, len(points) - 2)
        share = (math.log(volts) - self._logs[i]) / (self._logs[i + 1] - self._logs[i])
        return math.hypot((1.0 - share) * points[i][2], share * points[i + 1][2], self.u_reference_db)

    def standard_uncertainty(self, volts: float) -> float:
        """The same, W, by the law of propagation: P ln 10 / 10 for each dB."""
        return self.value(volts) * PER_DB * self.u_db(volts)

    def expanded(self, volts: float) -> float:
        """The expanded uncertainty, W, coverage factor 2."""
        return COVERAGE_FACTOR * self.standard_uncertainty(volts)

    def bends_db(self) -> list[float]:
        """For each stretch between two points, by how much its middle may lie off the straight line, dB.

        From the curvature that the neighbouring points show (the error of linear interpolation, h**2 f'' / 8); with
        two points alone nothing can be told, and it is nan.
        """
        logs, dbm = self._logs, [point[1] for point in self.points]
        n = len(logs)
        if n < 3:
            return [math.nan] * (n - 1)
        slopes = [(dbm[i + 1] - dbm[i]) / (logs[i + 1] - logs[i]) for i in range(n - 1)]
        curves = [2 * abs(slopes[i] - slopes[i - 1]) / (logs[i + 1] - logs[i - 1]) for i in range(1, n - 1)]
        at = [curves[0], *curves, curves[-1]]  # at each point; the ends have their neighbour's
        return [max(at[i], at[i + 1]) * (logs[i + 1] - logs[i]) ** 2 / 8 for i in range(n - 1)]
