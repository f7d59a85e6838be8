"""``supply``: the radio's supply voltage out of its band, the low side under load only; and its source resistance."""

from collections.abc import Sequence
from typing import ClassVar

from alerts.keyed import Keyed, State
from alerts.types import JUDGING, Event, Finding, Priority, Situation, Standing, not_yet
from alerts.watch import NOTHING, Condition, Step, Terms, Watch, sentence, volt
from sensors.types import SUPPLY, Frame

#: key edges without which a source resistance says nothing, and within what part of its limit it is normal again
_LEAST_EDGES, _BACK = 3, 0.8
_KEYED = frozenset({State.KEYED, State.IDLE, State.DRIVEN})


class Supply:
    """Too much harms at any time; too little is telling only while the radio draws on it."""

    name: ClassVar[str] = "supply"

    def __init__(self, terms: Terms) -> None:
        limits = terms.limits
        self._keyed = Keyed(limits)
        self._low = Watch(
            terms,
            self.name,
            "low",
            unit="V",
            steps=[
                Step(Priority.WARNING, max(limits.supply_warning_min_v, limits.supply_min_v), limits.supply_dwell_s),
                Step(Priority.TRIP, limits.supply_min_v, limits.supply_dwell_s),
            ],
            tell=sentence(
                "supply under load",
                volt,
                "look at the supply's current limit, its leads and their connectors",
                below=True,
            ),
            deadband=limits.supply_deadband_v,
            below=True,
        )
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
        self._edges = 0
        self._source_ohm = limits.source_ohm
        self._source = Condition(terms, self.name, "source", Priority.WARNING, 0.0)
        self._judging = False

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame."""
        state = self._keyed.look(frame)
        supply_v, clock_s, time_ns = frame.values[SUPPLY], frame.clock_s, frame.time_ns
        said = self._high.judge(supply_v, clock_s, time_ns, now.sample_s)
        if state in _KEYED and self._keyed.steady(clock_s):
            if supply_v == supply_v:  # noqa: PLR0124  nan
                self._judging = True
            low = self._low.judge(supply_v, clock_s, time_ns, now.sample_s)
            if low:
                said = [*said, *low]
        if self._estimates.source_edges != self._edges:
            source = self._edge(frame)
            if source:
                return [*said, *source]
        return said

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
