"""``supply``: the radio's supply voltage out of its band; the low side under load only."""

from collections.abc import Sequence
from typing import ClassVar

from alerts.keyed import Keyed, State
from alerts.types import JUDGING, Finding, Priority, Situation, Standing, not_yet
from alerts.watch import NOTHING, Step, Terms, Watch, sentence, volt
from sensors.types import SUPPLY, Frame

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
                return [*said, *low]
        return said

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no voltage: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Needs supply voltage, and a key-down."""
        return JUDGING if self._judging else not_yet("no supply voltage has come while the radio was keyed")
