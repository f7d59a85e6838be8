"""What the control API says and takes about calibrations.

Values are in the channel's unit; a table's points are in V and dBm, its uncertainties in dB.
"""

from datetime import date
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, field_validator, model_validator

from daemon.api.booking_models import Line, Named, Words
from daemon.api.models import Model
from sensors.types import BOOLEANS, CHANNELS, DETECTED

Value = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)]


class CalibrationKind(StrEnum):
    """What is drawn through the points."""

    LINE = "line"
    TABLE = "table"  # of a power detector: its volts against dBm


class Point(Model):
    """What was read on the bay, and on the reference instrument at the same time.

    ``u`` is the point's own standard uncertainty in dB (repeatability, and the reading of the volts), of a table alone:
    of a line the fit tells it.
    """

    reading: Value
    reference: Value
    u: float = Field(default=0.0, ge=0, le=20, allow_inf_nan=False)


class CalibrationOrder(Model):
    """A channel of a bay against a reference instrument, whose own standard uncertainty is ``u_reference``.

    A table's readings are the detector's volts, whatever ``as_shown`` says.
    """

    bay: str
    channel: str
    kind: CalibrationKind = CalibrationKind.LINE
    points: list[Point] = Field(min_length=2, max_length=100)
    reference: Named
    u_reference: float = Field(ge=0, le=1e6, allow_inf_nan=False)
    due: date | None = None
    who: Line = ""
    note: Words = ""
    as_shown: bool = True  # readings are as the page shows them: with the correction that is in force now
    confirm: bool = False  # also where it changes a reading by much

    @field_validator("channel")
    @classmethod
    def _can_be_calibrated(cls, channel: str) -> str:
        known = [name for name in CHANNELS if name not in BOOLEANS]
        if channel not in known:
            raise ValueError(f"no channel that can be calibrated; there are: {', '.join(known)}")
        return channel

    @model_validator(mode="after")
    def _fits_its_kind(self) -> Self:
        if self.kind is CalibrationKind.LINE:
            if any(point.u for point in self.points):
                raise ValueError("points: one of a line has no u of its own, the fit tells it; leave it out")
            return self
        if self.channel not in DETECTED:
            raise ValueError(f"kind: a table is for a power detector ({', '.join(DETECTED)}); draw a line")
        for n, point in enumerate(self.points, 1):
            if not 0 < point.reading <= 100:
                raise ValueError(f"points: of point {n} the reading is the detector's volts, over 0 and up to 100 V")
            if not -100 <= point.reference <= 100:
                raise ValueError(f"points: of point {n} the reference is in dBm, from -100 to 100")
        return self


class LineView(Model):
    """``intercept + slope * (reading - pivot)`` is added to a reading.

    With standard uncertainties and their correlation, and the standard deviation about the line: None where two points
    leave it unknown.
    """

    intercept: float
    slope: float
    pivot: float
    u_intercept: float | None
    u_slope: float | None
    correlation: float
    residual: float | None
    freedom: int


class PointView(Model):
    """A point and what the line makes of it; ``reading`` is without any correction, ``expanded`` is with k = 2."""

    reading: float
    reference: float
    corrected: float
    residual: float  # reference - corrected
    expanded: float


class TablePointView(Model):
    """A point of a table; ``bend_db`` is how far the middle of the stretch to the next may lie off the straight line,
    None at the last and where two points can't tell it; ``u_db`` the point's own, ``expanded_w`` U (k = 2) in all."""

    volts: float
    dbm: float
    watts: float
    u_db: float
    expanded_w: float
    bend_db: float | None


class CalibrationJudged(Model):
    """What a calibration would be: a line with its points, or a table; ``asks`` is what to confirm first, empty where
    there is nothing."""

    unit: str
    line: LineView | None
    points: list[PointView]
    table: list[TablePointView] = Field(default_factory=list)
    said: list[str]
    asks: str


class CalibrationView(Model):
    """A calibration that is kept: a line with its points, or a table; ``u_reference`` of a table is in dB."""

    id: int
    bay: str
    channel: str
    unit: str
    kind: CalibrationKind
    line: LineView | None
    points: list[PointView]
    table: list[TablePointView] = Field(default_factory=list)
    reference: str
    u_reference: float
    made_ns: int
    due: date | None
    past_due: str  # "past due since ...", where it is
    who: str
    note: str
    in_force: bool
    said: list[str]
