"""One calibration as it is used: its line or table both ways, its uncertainty, and whether it is past due."""

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime

import msgspec

from daemon.api.calibration_models import CalibrationKind, LineView, Point, PointView
from daemon.errors import Refused
from sensors.calibrated import Correction, Line, expanded_uncertainty
from sensors.calibration import Fit
from sensors.calibration_table import Table
from sensors.conversion import Convert

TWO_POINTS = (
    "two points: how far readings lie off the line is not known, and only the reference instrument's uncertainty is "
    "counted; take a third"
)


class Calibration(msgspec.Struct, frozen=True):
    """A channel's calibration.

    Of a line, ``points`` are (reading, reference), the reading without any correction; of a table, which has no
    ``fit``, (V, dBm, standard uncertainty in dB), and ``u_reference`` is in dB too.
    """

    id: int
    bay: str
    channel: str
    points: tuple[tuple[float, ...], ...]
    fit: Fit | None
    reference: str
    u_reference: float
    made_ns: int
    due: date | None = None
    who: str = ""
    note: str = ""

    @property
    def kind(self) -> CalibrationKind:
        """What was drawn through the points."""
        return CalibrationKind.LINE if self.fit else CalibrationKind.TABLE

    @property
    def correction(self) -> Correction:
        """What corrects a reading; raises CalibrationUnfit."""
        return Line.of(self.fit) if self.fit else table_of(self.points, self.u_reference)

    def expanded(self, value: float) -> float:
        """U (k = 2) of a corrected value, in the channel's unit; nan for one that no table has."""
        correction = self.correction
        if isinstance(correction, Table):
            return correction.expanded(correction.reading(value))
        assert self.fit
        return expanded_uncertainty(self.fit, self.u_reference, correction.reading(value))

    def past_due(self, today: date) -> str:
        """Since when it is past due; empty while it is not. On its last day it is not."""
        return "" if self.due is None or today <= self.due else f"past due since {self.due.isoformat()}"


def today() -> date:
    """The day at the bench."""
    return datetime.now().astimezone().date()


def line_view(fit: Fit) -> LineView:
    """A fit as the API tells it."""
    known = fit._asdict()
    return LineView(**{name: None if value != value else value for name, value in known.items()})  # noqa: PLR0124  nan


def point_views(points: Sequence[Sequence[float]], fit: Fit, u_reference: float) -> list[PointView]:
    """What a line makes of the points that it was drawn through."""
    line = Line.of(fit)
    return [
        PointView(
            reading=reading,
            reference=reference,
            corrected=line.value(reading),
            residual=reference - line.value(reading),
            expanded=expanded_uncertainty(fit, u_reference, reading),
        )
        for reading, reference in points
    ]


def table_of(points: Sequence[Sequence[float]], u_reference_db: float) -> Table:
    """A table from points as they are kept; raises CalibrationUnfit."""
    return Table([(volts, dbm, u_db) for volts, dbm, u_db in points], u_reference_db)


def uncorrected(
    points: Sequence[Point], now: Calibration | None, base: Convert | None = None
) -> list[tuple[float, float]]:
    """The points with their readings as they were before the correction of the calibration that is in force.

    ``base`` is the channel's conversion in rack.toml: behind a table there is no other reading. Raises Refused.
    """
    if now is None:
        return [(p.reading, p.reference) for p in points]
    correction = now.correction
    found = []
    for point in points:
        reading = correction.reading(point.reading)
        if isinstance(correction, Table):
            reading = base(reading, "V")[0] if base else math.nan
            if not math.isfinite(reading):
                raise Refused(
                    f"{now.channel} of {now.bay} is read by a table (calibration {now.id}), and rack.toml has no "
                    f"conversion that reads {point.reading:g} W without it: calibrate it by a table again"
                )
        found.append((reading, point.reference))
    return found


def expanded_of(calibrations: Mapping[str, Calibration], figures: Mapping[str, float]) -> dict[str, float]:
    """U (k = 2) of each channel, at the figure of a soak that was read on it, for ``alerts.guard.of_figures``."""
    at = {"heatsink": "heatsink_max_c", "supply": "supply_min_v", "forward": "forward_mean_w"}
    at |= {f"drain-{i}": f"drain_{i}_max_a" for i in (1, 2, 3, 4)}
    values = {channel: figures[figure] for channel, figure in at.items() if figure in figures}
    if "forward" in values and (swr := figures.get("swr_max")) is not None:
        # the reflected power with which that SWR goes at the mean forward power, as guard.swr_expanded has it
        values["reflected"] = values["forward"] * ((swr - 1.0) / (swr + 1.0)) ** 2
    u = {channel: calibrations[channel].expanded(v) for channel, v in values.items() if channel in calibrations}
    # nan: a figure that its table does not reach (a reflected power under it, say) is of unknown uncertainty
    return {channel: expanded for channel, expanded in u.items() if not math.isnan(expanded)}
