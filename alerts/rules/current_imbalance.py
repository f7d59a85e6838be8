"""``current-imbalance``: the spread of the drain currents over their mean, and the growth of one's share."""

from collections import deque
from collections.abc import Sequence
from typing import ClassVar

from alerts.growth import Growth
from alerts.keyed import State
from alerts.types import JUDGING, Finding, Priority, Situation, Standing, not_applicable, not_yet
from alerts.watch import NOTHING, Step, Terms, Watch, percent, sentence
from sensors.types import NAN, Frame

#: balance is judged on means of the currents over this time constant, s: of four noisy readings the greatest and the
#: least lie apart even where the devices do not
_MEAN_S = 2.0
#: how far within the limit the spread must be to be normal again, as a ratio; common practice, no source
_DEADBAND_RATIO = 0.02
#: two currents that are read in steps may lie apart by one of them and be the same; what is wider, A, is no converter's
#: (ten bits over 60 A; common practice, no source)
_STEP_A = 0.06


class Means:
    """The currents through one steady state without single spikes, A: the middle of three, and its running mean."""

    __slots__ = ("_count", "_last_s", "_newest", "_since_s", "means", "middle")

    def __init__(self) -> None:
        self.middle: tuple[float, ...] = ()
        self.means: list[float] = []
        self._newest: deque[tuple[float, ...]] = deque(maxlen=3)
        self._count = 0
        self._last_s = self._since_s = NAN

    def feed(self, clock_s: float, since_s: float, currents: tuple[float, ...]) -> bool:
        """Take one sample, none of it nan, of a state that has lasted since ``since_s``; True when there are means."""
        newest = self._newest
        if since_s != self._since_s or len(currents) != len(newest[-1]):
            self._since_s, self._count = since_s, 0
            newest.clear()
        newest.append(currents)
        passed_s, self._last_s = clock_s - self._last_s, clock_s
        if len(newest) < 3:
            return False
        self.middle = tuple([max(min(a, b), min(max(a, b), c)) for a, b, c in zip(*newest, strict=True)])
        self._count += 1
        if self._count == 1:
            self.means = list(self.middle)
        share = max(1.0 / self._count, passed_s / (_MEAN_S + passed_s))
        self.means = [mean + (a - mean) * share for mean, a in zip(self.means, self.middle, strict=True)]
        return True


class CurrentImbalance:
    """For two devices |I1 - I2| / mean; for more, (greatest - least) / mean. Only above a current floor.

    The spread has absolute limits, apart at idle and under drive; the share of each device is held against this unit's
    own (``alerts.growth``).
    """

    name: ClassVar[str] = "current-imbalance"

    def __init__(self, terms: Terms) -> None:
        limits = terms.limits
        self._estimates = terms.estimates
        dwell_s = limits.imbalance_dwell_s
        drive = _steps(limits.imbalance_warning_ratio, limits.imbalance_ratio, dwell_s)
        idle = _steps(limits.imbalance_idle_warning_ratio, limits.imbalance_idle_ratio, dwell_s)
        self._kinds = {
            State.DRIVEN: (_watch(terms, "drive", "under drive", drive), limits.imbalance_floor_a),
            State.IDLE: (_watch(terms, "idle", "at idle", idle), limits.imbalance_idle_floor_a),
        }
        # a device that has gone open is no matter of ten seconds
        gross = [Step(Priority.TRIP, 2.0 * limits.imbalance_ratio, limits.imbalance_gross_dwell_s)]
        self._gross = _watch(terms, "gross", "under drive", gross)
        self._means = Means()
        self._growth = Growth(terms, self.name)
        self._frames = 0
        self._judging = False

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame."""
        self._frames += 1
        currents = self._estimates.currents
        grown = self._growth.step(frame) if len(currents) > 1 else NOTHING
        state = self._estimates.state
        kind = self._kinds.get(state)
        if kind is None or len(currents) < 2 or not self._estimates.keyed.steady(frame.clock_s):
            return grown
        if sum(currents) != sum(currents):  # nan
            return grown
        watch, floor_a = kind
        if not self._means.feed(frame.clock_s, self._estimates.keyed.since_s, currents):
            return grown
        means = self._means.means
        if not sum(means) > floor_a * len(means):
            return grown
        self._judging = True
        found = watch.judge(self._spread(means, state), frame.clock_s, frame.time_ns, now.sample_s)
        if state is State.DRIVEN and sum(self._means.middle) > floor_a * len(means):
            spread = self._spread(self._means.middle, state)
            gross = self._gross.judge(spread, frame.clock_s, frame.time_ns, now.sample_s)
            if gross:
                found = [*found, *gross]
        return [*found, *grown] if grown else found

    def _spread(self, currents: Sequence[float], state: State) -> float:
        apart_a = max(currents) - min(currents)
        step_a = self._estimates.steps.sure
        if state is State.IDLE and step_a < _STEP_A:
            apart_a = max(apart_a - step_a, 0.0)
        return apart_a * len(currents) / sum(currents)

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no current: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Needs two drain currents, and a key-down that draws enough."""
        if self._judging:
            return JUDGING
        if self._frames and self._estimates.drains_known == 1:
            return not_applicable("only one drain current is measured: there is nothing to compare it with")
        if self._frames and not self._estimates.drains_known:
            return not_applicable("no drain current is measured")
        return not_yet("the radio has not been keyed steadily with enough current in all devices")


def _steps(warning: float, trip: float, dwell_s: float) -> list[Step]:
    return [Step(Priority.WARNING, min(warning, trip), dwell_s), Step(Priority.TRIP, trip, dwell_s)]


def _watch(terms: Terms, subject: str, when: str, steps: list[Step]) -> Watch:
    look = "look at the bias of each device, at its screws and thermal pad, then at the devices as a pair"
    return Watch(
        terms,
        CurrentImbalance.name,
        subject,
        unit="1",
        steps=steps,
        tell=sentence(f"drain current imbalance {when}", percent, look),
        deadband=_DEADBAND_RATIO,
    )
