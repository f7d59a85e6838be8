"""``supply``: the radio's supply voltage out of its band, low or high; and its source resistance."""

from collections.abc import Sequence
from typing import ClassVar

from alerts.estimates import Block
from alerts.keyed import State
from alerts.types import JUDGING, Event, Finding, Priority, Situation, Standing, not_yet
from alerts.watch import NOTHING, Condition, Step, Terms, Watch, sentence, volt
from sensors.types import SUPPLY, Drive, Frame

#: key edges without which a source resistance says nothing, and within what part of its limit it is normal again
_LEAST_EDGES, _BACK = 3, 0.8
#: means of a few seconds that make a bay's own reference under one drive
_REFERENCE = 6
#: a supply under this part of its least voltage, at rest, is one that somebody has switched off
_OFF = 0.5
_KEYED = frozenset({State.KEYED, State.IDLE, State.DRIVEN})


class Supply:
    """Too much harms at any time. Too little unkeys under load alone; at rest it is a warning of what will come."""

    name: ClassVar[str] = "supply"

    def __init__(self, terms: Terms) -> None:
        limits = terms.limits
        self._low_v = max(limits.supply_warning_min_v, limits.supply_min_v)
        self._off_v = _OFF * limits.supply_min_v
        self._low = _low(terms, "supply", Step(Priority.WARNING, self._low_v, limits.supply_dwell_s))
        far_low = Step(Priority.TRIP, limits.supply_min_v, limits.supply_dwell_s)
        self._far_low = _low(terms, "supply under load", far_low)
        self._high = Watch(
            terms,
            self.name,
            "high",
            unit="V",
            steps=[
                Step(Priority.WARNING, min(limits.supply_warning_max_v, limits.supply_max_v), limits.supply_dwell_s),
                Step(Priority.TRIP, limits.supply_max_v, limits.supply_dwell_s),
            ],
            tell=sentence("supply", volt, "look at the supply's voltage setting and its sense leads"),
            deadband=limits.supply_deadband_v,
        )
        self._estimates = terms.estimates
        self._block: Block | None = None
        self._references: dict[Drive, tuple[float, int]] = {}
        self._sag_v = limits.supply_sag_v
        self._sag = Condition(terms, self.name, "sag", Priority.WARNING, 2.0 * limits.supply_dwell_s)
        self._edges = 0
        self._source_ohm = limits.source_ohm
        self._source = Condition(terms, self.name, "source", Priority.WARNING, 0.0)
        self._judging = False

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame."""
        state = self._estimates.state
        supply_v, clock_s, time_ns = frame.values[SUPPLY], frame.clock_s, frame.time_ns
        said = self._high.judge(supply_v, clock_s, time_ns, now.sample_s)
        loaded = state in _KEYED and self._estimates.keyed.steady(clock_s)
        # that it is high enough is shown under load alone: at rest nearly every supply is
        if loaded or self._off_v < supply_v < self._low_v:
            low = self._low.judge(supply_v, clock_s, time_ns, now.sample_s)
            if low:
                said = [*said, *low]
        if loaded:
            if supply_v == supply_v:  # noqa: PLR0124  nan
                self._judging = True
            low = self._far_low.judge(supply_v, clock_s, time_ns, now.sample_s)
            if low:
                said = [*said, *low]
        if self._estimates.block is not self._block:
            sag = self._sags(frame)
            if sag:
                said = [*said, *sag]
        if self._estimates.source_edges != self._edges:
            source = self._edge(frame)
            if source:
                return [*said, *source]
        return said

    def _sags(self, frame: Frame) -> Sequence[Finding]:
        block = self._block = self._estimates.block
        if block is None or block.supply_v != block.supply_v:
            return NOTHING
        reference_v, count = self._references.get(block.drive, (0.0, 0))
        if count < _REFERENCE:
            self._references[block.drive] = (reference_v + (block.supply_v - reference_v) / (count + 1), count + 1)
            return NOTHING
        fallen_v = reference_v - block.supply_v
        back = fallen_v < _BACK * self._sag_v
        event = self._sag.judge_band(fallen_v > self._sag_v, back, block.clock_s, block.seconds)
        if event is None:
            return NOTHING
        if event is Event.RETURNED:
            text = f"supply under {block.drive} is back at {volt(block.supply_v)}"
        else:
            text = (
                f"supply under {block.drive} is {volt(block.supply_v)}, {volt(fallen_v)} less than it was at first, "
                f"over the {volt(self._sag_v)} that it may fall, for {self._sag.lasted}: look at its leads, their "
                "connectors and the fuse holder, then at the supply's current limit"
            )
        return [self._sag.finding(event, frame.time_ns, text, unit="V", value=fallen_v, limit=self._sag_v)]

    def _edge(self, frame: Frame) -> Sequence[Finding]:
        source, limit = self._estimates.source, self._source_ohm
        self._edges = self._estimates.source_edges
        if source.edges < _LEAST_EDGES:
            return NOTHING
        ohm = source.ohm
        event = self._source.judge_band(ohm > limit, ohm < _BACK * limit, frame.clock_s, frame.clock_s)
        if event is None:
            return NOTHING
        if event is Event.RETURNED:
            text = f"the supply's source resistance is back at {ohm:.2f} ohm"
        else:
            text = (
                f"the supply loses {ohm:.2f} V for each ampere at the last {source.edges} key edges, over the limit of "
                f"{limit:g} ohm: look at its leads, their connectors and the fuse holder, then at the supply itself"
            )
        return [self._source.finding(event, frame.time_ns, text, unit="Ohm", value=ohm, limit=limit)]

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no voltage: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Needs supply voltage, and a key-down."""
        return JUDGING if self._judging else not_yet("no supply voltage has come while the radio was keyed")


def _low(terms: Terms, what: str, step: Step) -> Watch:
    look = "look at the supply's current limit, its leads and their connectors"
    return Watch(
        terms,
        Supply.name,
        "low",
        unit="V",
        steps=[step],
        tell=sentence(what, volt, look, below=True),
        deadband=terms.limits.supply_deadband_v,
        below=True,
    )
