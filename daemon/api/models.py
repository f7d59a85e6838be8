"""What the control API says and takes; the dashboard and the command line know the daemon by these alone.

Times of a soak are seconds since its start (``_s``), instants are UTC nanoseconds (``_ns``), ages are seconds.
A figure that is not known is ``None``, never a number that looks like one.
"""

from enum import StrEnum

from pydantic import BaseModel, ConfigDict, Field

from daemon.api.load_models import Typical


class Model(BaseModel):
    """A name that the API does not know is an error that names it, not a silent miss."""

    model_config = ConfigDict(extra="forbid")


class BayStatus(StrEnum):
    """What a bay is doing, in the one word that the page shows."""

    EMPTY = "empty"  # no soak since the daemon started
    KEYED = "keyed"  # soaking, key lent
    RESTING = "resting"  # soaking, key not lent by the plan
    WAITING = "waiting"  # soaking, resting until a person says that what the phase asks is done
    TRIPPED = "tripped"  # a rule unkeyed the bay
    DROPPED = "dropped"  # a person unkeyed the bay
    DONE = "done"  # the plan ran to its end


class PhaseView(Model):
    """One part of a plan on the soak's time axis."""

    drive: str
    start_s: float
    end_s: float
    on_s: float | None = None
    off_s: float | None = None
    ask: str | None = None


class PlanView(Model):
    """A plan as the soak strip draws it."""

    name: str
    total_s: float
    phases: list[PhaseView]


class PlanFile(Model):
    """A plan to begin from: the text of its file, and what that text says."""

    name: str
    text: str
    plan: PlanView
    file: str = ""  # what it is called in an address: its name in small letters, with hyphens
    own: bool = False  # saved here, and not one of those that come with the program


class PlanText(Model):
    """The text of a plan to be judged or saved; ``replace``: also over a saved plan of that name."""

    text: str = Field(max_length=1 << 20)
    replace: bool = False


class PlanProblem(Model):
    """A field of a plan's text that is wrong, and what would be right."""

    field: str
    what: str


class PlanJudged(Model):
    """What a plan's text says, or every field that is wrong in it."""

    plan: PlanView | None
    key_down_s: float = 0.0
    problems: list[PlanProblem] = Field(default_factory=list)


class WaitView(Model):
    """A stretch in which a plan stood still until a person had done what its phase asks; seconds since the start."""

    phase: int
    at_s: float
    until_s: float | None  # None while it waits, and where the soak ended so


class Tag(Model):
    """One finding, hung at its minute."""

    at_s: float
    time_ns: int
    rule: str
    event: str
    priority: str
    value: float | None
    limit: float | None
    unit: str
    text: str


class Reading(Model):
    """The last value of one channel; ``quality`` is ``good`` or why there is no value."""

    channel: str
    unit: str
    value: float | None
    quality: str
    raw: float | None = None  # before its calibration's correction, in ``raw_unit``
    raw_unit: str = ""  # of a line the channel's own; of a table V
    volts: float | None = None  # what its detector gave, where one reads it
    calibration_id: int | None = None  # the calibration that is in force
    calibration: str = ""  # "past due since ...", where it is


class RuleStanding(Model):
    """Whether a rule can judge this bay, and why not."""

    rule: str
    state: str
    why: str = ""


class BayLink(Model):
    """What has come over this bay's link."""

    link: str
    connected: bool
    presence: str
    packs: int
    lost: int
    restarts: int
    repeats: int
    unknown: int
    refused: int
    crc_failures: int
    packs_refused: int
    last_error: str


class Figures(Model):
    """The four figures of a shelf, from the last frame."""

    heatsink_c: float | None = None
    heatsink_limit_c: float | None = None
    time_to_limit_s: float | None = None
    drains_a: list[float | None] = Field(default_factory=list)
    forward_w: float | None = None
    forward_change_db: float | None = None
    swr: float | None = None
    supply_v: float | None = None


class BayView(Model):
    """One shelf of the rack, as it stands now."""

    bay: str
    status: BayStatus
    age_s: float | None  # since the last frame; None when there never was one
    stale: bool  # silent for more than three sample times
    key_lent: bool
    key_seen: bool | None  # the node's own word
    past_due: list[str] = Field(default_factory=list)  # channels whose calibration is past due
    supply_cut: bool = False  # the supply relay is open until a person releases it
    job: int | None = None
    number: str = ""  # the job's number
    unit: str = ""  # the radio, as the person calls it
    plan: PlanView | None = None
    elapsed_s: float = 0.0
    left_s: float | None = None
    ask: str | None = None
    verdict: str | None = None
    reasons: list[str] = Field(default_factory=list)
    figures: Figures = Field(default_factory=Figures)
    strip: list[tuple[float, float]] = Field(default_factory=list)  # (elapsed_s, heatsink_c), at most 400
    # the forecast ahead of the trace: (elapsed_s, low, middle, high) in °C, in the order of time; the band is of 95 %
    forecast: list[tuple[float, float, float, float]] = Field(default_factory=list)
    derived: dict[str, float] = Field(default_factory=dict)  # what the estimators know; the unit ends the name
    tags: list[Tag] = Field(default_factory=list)
    waits: list[tuple[float, float]] = Field(default_factory=list)  # (elapsed_s, lasted_s) of each that is over
    readings: list[Reading] = Field(default_factory=list)
    rules: list[RuleStanding] = Field(default_factory=list)
    link: BayLink | None = None


class RackView(Model):
    """The whole rack, in the order in which the shelves stand."""

    rack: str
    time_ns: int
    note: str = ""  # what a person should know of this rack as a whole (a demo, no broker, a full disk)
    bays: list[BayView]
    alerts_unacknowledged: int = 0  # open alerts that nobody has acknowledged yet


class JobView(Model):
    """One soak, running or finished."""

    job: int
    number: str
    unit: str
    bay: str
    plan: PlanView
    started_ns: int
    ended_ns: int | None
    verdict: str | None
    reasons: list[str]
    figures: dict[str, float | None]
    limits: dict[str, float]
    tags: list[Tag]
    sealed_sha256: str | None = None  # of the sealed file of a finished job
    booking: int | None = None  # under which its unit is booked in
    calibrations: list[int] = Field(default_factory=list)  # that were in force at its start
    #: channel -> the calibration that is in force now where none or another one was then; of one finished job alone
    calibrated_since: dict[str, int] = Field(default_factory=dict)
    waits: list[WaitView] = Field(default_factory=list)  # by which its time parts from its plan's


class Curve(Model):
    """One channel of a job, thinned to what a screen can show; the least and greatest of every part are kept."""

    channel: str
    unit: str
    at_s: list[float]
    value: list[float | None]  # None where readings are missing


class CurvesView(Model):
    """Curves of one job between two moments of its time axis."""

    job: int
    from_s: float
    to_s: float
    frames: int  # how many readings lie between the two moments
    curves: list[Curve]


class BandView(Model):
    """What earlier good units did on one channel, by minute: 10th percentile, median, 90th percentile."""

    job: int  # whose plan they were soaked by
    channel: str
    unit: str
    jobs: list[int]  # the soaks of which the band is made; with fewer than three of them it is empty
    at_s: list[float]  # the middle of each minute, seconds from key-on
    low: list[float]
    mid: list[float]
    high: list[float]


class SoakOrder(Model):
    """Start a soak: which plan, for which unit. ``plan`` is the text of a plan file."""

    plan: str
    number: str = ""
    unit: str = ""
    booking: int | None = None  # number and unit are then those of the booking
    typical: Typical = Field(default_factory=Typical)  # by which it is judged what the plan asks of the load


class Said(Model):
    """The answer to an order: what was done, in words."""

    done: str
    bays: list[str] = Field(default_factory=list)


class Health(Model):
    """Whether the daemon keeps up."""

    version: str
    rack: str
    up_s: float
    frames: int
    store_behind: int  # frames that wait to be committed
    store_error: str
    loop_lag_s: float
    tell_error: str = ""  # who can't be told of alerts, and why


class LimitView(Model):
    """One limit: its default, what it means, and which rules go by it (none: it serves a figure that is shown)."""

    limit: str
    value: float
    unit: str
    meaning: str
    rules: list[str]
    bays: dict[str, float] = Field(default_factory=dict)  # the bays whose plan has another value
