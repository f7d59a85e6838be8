"""All that a certificate says, as data: with nothing in it that is only looks.

The customer's name is left out: it can be erased here, and could not be on paper.
"""

from datetime import date

from pydantic import ConfigDict, Field

from daemon.api.aligned import as_run
from daemon.api.booking_models import Sheet
from daemon.api.models import Model, PlanView, WaitView
from daemon.version import VERSION

#: the program's word for the form of the facts, in a page that is checked later
FORM = 1
PROGRAM = f"keysoak {VERSION}"


class Known(Model):
    """What may have an uncertainty without end, which must come out of a page's facts as it went in."""

    model_config = ConfigDict(extra="forbid", ser_json_inf_nan="strings")


class Calibration(Known):
    """A calibration that was in force; ``expanded`` is U (k = 2) at the figure, in the channel's unit."""

    id: str
    channel: str
    made: date
    due: date | None = None
    expanded: float | None = None
    kind: str = "line"  # or "table"
    points: int = 0
    reference: str = ""


class Workshop(Model):
    """Who puts its name to the certificate."""

    name: str = ""


class Unit(Model):
    """The unit, and what its set-up sheet says."""

    number: str
    unit: str
    kind: str = ""
    serial: str = ""
    booking: int | None = None
    sheet: Sheet | None = None


class Figure(Known):
    """A figure with what is known of it; ``ruling`` is empty where it has no limit."""

    name: str
    value: float
    expanded: float | None = None
    limit: float | None = None
    upper: bool = True
    ruling: str = ""


class Happened(Model):
    """An alert of the soak: when, what, and when it had returned to normal, if it had."""

    at_s: float
    rule: str
    priority: str
    text: str
    unkeyed: bool = False
    returned_s: float | None = None


class Action(Model):
    """What a person did about an alert."""

    time_ns: int
    rule: str
    change: str
    person: str
    note: str


class Sealed(Model):
    """The file of the readings, by its SHA-256."""

    file: str
    sha256: str
    readings: int
    intact: bool  # when the certificate was made


class Delivered(Model):
    """Key-down time and energy; ``anew`` where they were counted from the sealed file, else as they were live."""

    key_down_s: float | None = None
    asked_s: float
    drawn_j: float | None = None
    load_j: float | None = None
    heat_s: float | None = None  # the heatsink's time at temperature, as so long at ``service_c`` (Arrhenius)
    anew: bool = False


class Facts(Model):
    """A certificate."""

    form: int = FORM
    program: str
    made_ns: int
    zone: str  # of the bench, by which all times are told
    zone_offset_s: int
    workshop: Workshop
    job: int
    bay: str
    unit: Unit
    plan: PlanView
    waits: list[WaitView] = Field(default_factory=list)  # in which it stood still
    started_ns: int
    ended_ns: int
    verdict: str
    reasons: list[str]
    figures: list[Figure]
    delivered: Delivered
    limits: dict[str, float]
    calibrations: list[Calibration] = Field(default_factory=list)
    calibrated_since: dict[str, int] = Field(default_factory=dict)  # channel -> calibration, not in these figures
    happened: list[Happened] = Field(default_factory=list)
    actions: list[Action] = Field(default_factory=list)
    sealed: Sealed | None = None

    @property
    def run(self) -> PlanView:
        """The plan by seconds since the start, with the stretches in which it stood still."""
        return as_run(self.plan, self.waits, (self.ended_ns - self.started_ns) / 1e9)
