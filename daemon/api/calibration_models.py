"""What the control API says and takes about calibrations. All values are in the channel's unit."""

from datetime import date
from enum import StrEnum
from typing import Annotated

from pydantic import Field, field_validator

from daemon.api.booking_models import Line, Named, Words
from daemon.api.models import Model
from sensors.types import BOOLEANS, CHANNELS

Value = Annotated[float, Field(ge=-1e6, le=1e6, allow_inf_nan=False)]


class CalibrationKind(StrEnum):
    """What is drawn through the points."""

    LINE = "line"


class Point(Model):
    """What was read on the bay, and on the reference instrument at the same time."""

    reading: Value
    reference: Value


class CalibrationOrder(Model):
    """A channel of a bay against a reference instrument, whose own standard uncertainty is ``u_reference``."""

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


class CalibrationJudged(Model):
    """What a calibration would be; ``asks`` is what to confirm first, empty where there is nothing."""

    unit: str
    line: LineView
    points: list[PointView]
    said: list[str]
    asks: str


class CalibrationView(Model):
    """A calibration that is kept."""

    id: int
    bay: str
    channel: str
    unit: str
    kind: CalibrationKind
    line: LineView
    points: list[PointView]
    reference: str
    u_reference: float
    made_ns: int
    due: date | None
    past_due: str  # "past due since ...", where it is
    who: str
    note: str
    in_force: bool
    said: list[str]
