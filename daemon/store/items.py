"""What the store is given to keep. Everything is put in the order in which it happened."""

import msgspec

from alerts.types import Finding
from sensors.types import Frame


class JobStarted(msgspec.Struct, frozen=True):
    """A soak begins: frames of ``bay`` that are put after this belong to ``job``, until its JobEnded.

    ``clock_s`` is the rules' clock at the start (the one of ``Frame.clock_s``): with it the job's time axis is
    right where a node's own wall clock is not.
    """

    job: int
    number: str
    unit: str
    bay: str
    plan_name: str
    plan_text: str  # the plan file, TOML
    limits: dict[str, float]
    started_ns: int
    clock_s: float
    booking: int | None = None
    calibrations: tuple[int, ...] = ()  # that were in force


class JobEnded(msgspec.Struct, frozen=True):
    """A soak is over, with its verdict; a figure that is not finite is kept as unknown."""

    job: int
    ended_ns: int
    verdict: str
    reasons: list[str]
    figures: dict[str, float]


class JobWaits(msgspec.Struct, frozen=True):
    """The plan of a job stands still from ``at_s`` on; put again with ``until_s`` when it goes on. Seconds since the
    job's start, on the rules' clock."""

    job: int
    phase: int
    at_s: float
    until_s: float | None


class FindingKept(msgspec.Struct, frozen=True):
    """A finding of a job; ``at_s`` is seconds since the job's start, on the rules' clock."""

    job: int
    at_s: float
    finding: Finding


class AlertKept(msgspec.Struct, frozen=True):
    """An alert as it stands; ``id`` is never used for another. Open until its state is ``normal``.

    ``state`` and ``beneath`` are words of ``alerts.life.State``: what it is, and what it would be if nothing hid it.
    ``cause`` is the alert that it is folded under. Its condition stands while ``returned_ns`` is None.
    """

    id: int
    bay: str
    rule: str
    subject: str
    priority: str  # the worst since it was raised
    state: str
    beneath: str
    job: int | None
    cause: int | None
    raised_ns: int
    returned_ns: int | None
    shelved_until_ns: int | None
    text: str
    value: float
    limit_value: float
    unit: str


class AlertChanged(msgspec.Struct, frozen=True):
    """One change in the life of an alert, with the alert as it stands after it; ``id`` rises with time.

    ``change`` is a word of ``alerts.life.Change``. ``told``: people are to be told of this one, now; it is true once
    for each thing that there is to tell, whatever the change is called.
    """

    id: int
    alert: AlertKept
    time_ns: int
    change: str
    told: bool
    text: str
    person: str = ""
    note: str = ""


class AlertIdsTaken(msgspec.Struct, frozen=True):
    """Alert ids up to ``last`` may be in use though nothing of them is kept yet: no later run may use them."""

    last: int


class JobSealed(msgspec.Struct, frozen=True):
    """A finished job is in a sealed file with this SHA-256."""

    job: int
    sha256: str
    bytes: int
    frames: int
    sealed_ns: int


Item = Frame | JobStarted | JobEnded | JobWaits | FindingKept | AlertChanged | AlertIdsTaken | JobSealed
