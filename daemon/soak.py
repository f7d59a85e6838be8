"""One soak on one bay: where it is in its plan, and what the strip-chart of it shows."""

import math
from collections.abc import Mapping

import msgspec

from alerts.types import Situation
from daemon.api.models import Tag
from daemon.plan import Moment, Plan
from sensors.types import FORWARD, HEATSINK, NAN, Drive, Frame

#: parts of the soak strip; more than a shelf has pixels for would only cost
STRIP_PARTS = 400
#: findings that a running soak shows; all of them are kept in the store
TAGS_SHOWN = 200


class Begun(msgspec.Struct, frozen=True):
    """What a soak is, as it begins; ``plan_text`` is the plan's file."""

    job: int
    number: str
    unit: str
    bay: str
    plan: Plan
    plan_text: str
    time_ns: int
    clock_s: float
    booking: int | None = None
    calibrations: tuple[int, ...] = ()  # that are in force


class Ended(msgspec.Struct, frozen=True):
    """How a soak ended."""

    job: int
    bay: str
    time_ns: int
    verdict: str
    reasons: list[str]
    figures: dict[str, float]


class Waited(msgspec.Struct, frozen=True):
    """A plan stands still from ``at_s`` after the soak's start until ``until_s``; None as long as it does."""

    job: int
    phase: int
    at_s: float
    until_s: float | None


class Course:
    """Where a soak is in its plan, with the time out that a person takes to do what a phase asks.

    All times are seconds on the rules' clock; ``elapsed_s`` is the plan's own time. ``waited`` are the waits of a soak
    that is over and is gone through again: by phase, when each ended, seconds since the start.
    """

    def __init__(self, plan: Plan, clock_s: float, *, asks: bool, waited: Mapping[int, float] | None = None) -> None:
        self.plan = plan
        self._start_s = clock_s
        self._asks = asks
        self._waited = waited or {}
        self._held_s = 0.0
        self.waits: list[tuple[int, float, float | None]] = []  # phase, from, until: seconds since the start
        self._hold_from_s = NAN
        self._asked_phase = -1
        self.phase_since_s = clock_s
        self._phase = -1
        self.moment: Moment = plan.at(0.0)
        self.elapsed_s = 0.0
        self.follow(clock_s)

    @property
    def ask(self) -> str | None:
        """What a person must do before the soak goes on, while it waits for that."""
        return self.plan.phase[self.moment.phase].ask if self.waiting else None

    @property
    def waiting(self) -> bool:
        """Whether the soak rests until a person says that it may go on."""
        return not math.isnan(self._hold_from_s)

    @property
    def over(self) -> list[tuple[float, float]]:
        """The waits that are over: where the plan stood, and for how long."""
        found, before_s = [], 0.0
        for _, at_s, until_s in self.waits:
            if until_s is not None:
                found.append((round(at_s - before_s, 3), round(until_s - at_s, 3)))
                before_s += until_s - at_s
        return found

    def follow(self, clock_s: float) -> None:
        """Move on to ``clock_s``."""
        if self.waiting:
            until_s = self._start_s + self._waited.get(self._phase, math.inf)
            if clock_s < until_s:
                return
            self.go_on(until_s)
        self.elapsed_s = clock_s - self._start_s - self._held_s
        self.moment = self.plan.at(self.elapsed_s)
        if self.moment.phase != self._phase:
            self._phase = self.moment.phase
            self.phase_since_s = clock_s
            asks = self._asks or self._phase in self._waited
            if asks and self.plan.phase[self._phase].ask and self._asked_phase < self._phase:
                self._asked_phase = self._phase
                self._hold_from_s = clock_s
                self.elapsed_s = self.moment.phase_start_s
                self.waits.append((self._phase, self.elapsed_s + self._held_s, None))

    def go_on(self, clock_s: float) -> None:
        """A person says that it is done: the plan's time runs again."""
        # from the phase's first instant: the tick that noticed the ask came a little after it
        late_s = self._hold_from_s - self._start_s - self._held_s - self.elapsed_s
        self._held_s += clock_s - self._hold_from_s + late_s
        self._hold_from_s = NAN
        phase, at_s, _ = self.waits[-1]
        self.waits[-1] = (phase, at_s, clock_s - self._start_s)
        self.phase_since_s = clock_s
        self.follow(clock_s)


class PowerChange:
    """How far forward power has moved from what this unit gave when this drive was first keyed, in dB.

    The reference is the mean over the first ``REFERENCE_S`` of key-down in a drive, once it has settled.
    """

    SETTLE_S = 2.0
    REFERENCE_S = 10.0
    SMOOTH = 0.2  # share of a new reading: the figure is for a person's eye, the rules look for themselves

    def __init__(self) -> None:
        self.db: float | None = None
        self._sums: dict[Drive, tuple[float, int, float]] = {}
        self._smooth_w = NAN

    def add(self, frame: Frame, now: Situation) -> None:
        """Take in a frame; nothing is said of one that is not keyed, or only just keyed."""
        forward_w = frame.values[FORWARD]
        keyed_s = frame.clock_s - now.asked_since_s
        if not now.key_asked or now.drive is Drive.IDLE or keyed_s < self.SETTLE_S or not forward_w > 0:
            self.db, self._smooth_w = None, NAN
            return
        sum_w, count, since_s = self._sums.get(now.drive, (0.0, 0, frame.clock_s))
        if frame.clock_s - since_s < self.REFERENCE_S:
            self._sums[now.drive] = (sum_w + forward_w, count + 1, since_s)
            return
        old_w = forward_w if math.isnan(self._smooth_w) else self._smooth_w
        self._smooth_w = old_w + self.SMOOTH * (forward_w - old_w)
        self.db = 10 * math.log10(self._smooth_w * count / sum_w)


class Strip:
    """What a shelf's strip-chart shows of a soak, in bounded memory however long it runs."""

    def __init__(self, total_s: float) -> None:
        self._part_s = total_s / STRIP_PARTS
        self._part = -1
        self.points: list[tuple[float, float]] = []
        self.tags: list[Tag] = []

    def add(self, elapsed_s: float, frame: Frame) -> None:
        """Take a frame in: each part of the strip keeps its hottest reading."""
        heat_c = frame.values[HEATSINK]
        if math.isnan(heat_c):
            return
        part = int(elapsed_s / self._part_s)
        if part > self._part:
            self._part = part
            self.points.append((round(elapsed_s, 2), round(heat_c, 2)))
        elif heat_c > self.points[-1][1]:
            self.points[-1] = (round(elapsed_s, 2), round(heat_c, 2))

    def hang(self, tag: Tag) -> None:
        """Hang a tag; the oldest go when there are too many to show."""
        self.tags.append(tag)
        del self.tags[:-TAGS_SHOWN]
