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


class JobEnded(msgspec.Struct, frozen=True):
    """A soak is over, with its verdict; a figure that is not finite is kept as unknown."""

    job: int
    ended_ns: int
    verdict: str
    reasons: list[str]
    figures: dict[str, float]


class FindingKept(msgspec.Struct, frozen=True):
    """A finding of a job; ``at_s`` is seconds since the job's start, on the rules' clock."""

    job: int
    at_s: float
    finding: Finding


Item = Frame | JobStarted | JobEnded | FindingKept
