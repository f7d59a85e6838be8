"""The vocabulary of judging: what a rule is told beside the frame, and what it may say."""

from collections.abc import Sequence
from enum import StrEnum
from typing import ClassVar, Protocol

import msgspec

from sensors.types import Drive, Frame


class Priority(StrEnum):
    """How much a finding presses; a trip unkeys the bay at once."""

    ADVISORY = "advisory"
    WARNING = "warning"
    TRIP = "trip"


class Event(StrEnum):
    """What a finding tells: a condition came, went, or unkeyed the bay."""

    RAISED = "raised"
    RETURNED = "returned"
    TRIP = "trip"


class Situation(msgspec.Struct, gc=False):
    """What the plan asks of the bay at the instant of a frame; times in seconds on the rules' clock."""

    soaking: bool = False  # a plan is running; between soaks only the stuck key is watched
    drive: Drive = Drive.OFF
    key_asked: bool = False  # the key is lent at this instant
    asked_since_s: float = 0.0  # when key_asked last changed
    phase_since_s: float = 0.0
    on_limit_s: float = float("inf")  # the plan's longest key-down in this phase
    sample_s: float = 0.5  # the expected time between packs


class Finding(msgspec.Struct, frozen=True, gc=False):
    """One thing a rule has to say. ``text`` is a plain sentence: the figure, the limit, what to look at."""

    time_ns: int
    bay: str
    rule: str
    event: Event
    priority: Priority
    value: float
    limit: float
    unit: str
    text: str
    subject: str = ""  # which of the things that the rule watches; with rule and priority it names one alert


class Standing(msgspec.Struct, frozen=True, gc=False):
    """Whether a rule can judge this bay: ``judging``, ``not yet`` or ``not applicable``, and why."""

    state: str
    why: str = ""


JUDGING = Standing("judging")


def not_yet(why: str) -> Standing:
    """The rule could judge this bay, but has had nothing to go by so far."""
    return Standing("not yet", why)


def not_applicable(why: str) -> Standing:
    """The rule can't judge this bay as it is wired."""
    return Standing("not applicable", why)


class Rule(Protocol):
    """One rule for one bay: constant memory, constant time a frame, never the wall clock."""

    name: ClassVar[str]

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame."""

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """Judge the passing of time when no frame came; most rules have nothing to say."""

    def standing(self) -> Standing:
        """Say whether this rule can judge, for the page and the verdict."""
