"""One calibration as it is used: its line both ways, its uncertainty, and whether it is past due."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime

import msgspec

from daemon.api.calibration_models import LineView, Point, PointView
from sensors.calibrated import Line, expanded_uncertainty
from sensors.calibration import Fit

TWO_POINTS = (
    "two points: how far readings lie off the line is not known, and only the reference instrument's uncertainty is "
    "counted; take a third"
)


class Calibration(msgspec.Struct, frozen=True):
    """A channel's calibration; ``points`` are (reading, reference), the reading without any correction."""

    id: int
    bay: str
    channel: str
    points: tuple[tuple[float, float], ...]
    fit: Fit
    reference: str
    u_reference: float
    made_ns: int
    due: date | None = None
    who: str = ""
    note: str = ""

    @property
    def line(self) -> Line:
        """What corrects a reading; raises CalibrationUnfit."""
        return Line.of(self.fit)

    def expanded(self, value: float) -> float:
        """U (k = 2) of a corrected value."""
        return expanded_uncertainty(self.fit, self.u_reference, self.line.reading(value))

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


def point_views(points: Sequence[tuple[float, float]], fit: Fit, u_reference: float) -> list[PointView]:
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


def uncorrected(points: Sequence[Point], now: Calibration | None) -> list[tuple[float, float]]:
    """The points with their readings as they were before the correction of the calibration that is in force."""
    return [(now.line.reading(p.reading) if now else p.reading, p.reference) for p in points]


def expanded_of(calibrations: Mapping[str, Calibration], figures: Mapping[str, float]) -> dict[str, float]:
    """U (k = 2) of each channel, at the figure of a soak that was read on it, for ``alerts.guard.of_figures``."""
    at = {"heatsink": "heatsink_max_c", "supply": "supply_min_v", "forward": "forward_mean_w"}
    at |= {f"drain-{i}": f"drain_{i}_max_a" for i in (1, 2, 3, 4)}
    values = {channel: figures[figure] for channel, figure in at.items() if figure in figures}
    if "forward" in values and (swr := figures.get("swr_max")) is not None:
        # the reflected power with which that SWR goes at the mean forward power, as guard.swr_expanded has it
        values["reflected"] = values["forward"] * ((swr - 1.0) / (swr + 1.0)) ** 2
    return {channel: calibrations[channel].expanded(v) for channel, v in values.items() if channel in calibrations}
