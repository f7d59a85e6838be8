"""Whether a current grows by itself within one key-down, before any slope against temperature is known."""

from collections.abc import Sequence
from math import inf, sqrt

from alerts.estimates import Block
from alerts.estimators import curvature, swell
from alerts.estimators.climb import Climb
from alerts.estimators.covariance import Shared
from alerts.estimators.curvature import Curvature
from alerts.estimators.surge import SURGES, Surge
from alerts.estimators.swell import Swell
from alerts.keyed import State, forward_w
from alerts.types import Event, Finding, Priority
from alerts.watch import NOTHING, Condition, Terms, percent
from sensors.types import Drive, Frame

#: a curve begins so long after key-down, s: what the devices do before is their own warming; a swelling is beyond that
_CURVE_FROM_S, _SWELL_FROM_S = 10.0, 2.0
#: a growth of a minute is so many times what its means may be off by
_SURE = 6.0


class SelfGrowth:
    """By seconds, by the curve of a minute, and by what a minute or two add: part of the rule ``thermal-runaway``."""

    def __init__(self, terms: Terms, rule: str) -> None:
        self._estimates = terms.estimates
        self._curvature = Curvature()
        self._bent = Condition(terms, rule, "upward", Priority.TRIP, 0.0)
        self._swell = Swell()
        self._swollen = Condition(terms, rule, "swollen", Priority.TRIP, 0.0)
        self._climb = Climb()  # of speech
        self._climbed = Condition(terms, rule, "climbing", Priority.TRIP, 0.0)
        self._surge_key: tuple[float, Drive] = (inf, Drive.OFF)
        self._surges = [
            (Surge(what), Condition(terms, rule, f"surge {i}", Priority.TRIP, 0.0)) for i, what in enumerate(SURGES, 1)
        ]

    def restart(self) -> None:
        """Another key-down, or another drive."""
        self._curvature.restart()
        self._swell.restart()

    def step(self, frame: Frame) -> Sequence[Finding]:
        """Judge one frame: the seconds that it closed, if it closed some."""
        estimates = self._estimates
        driven = estimates.state is State.DRIVEN
        if not (driven or estimates.state is State.IDLE) or estimates.drive is Drive.MODULATED:
            return NOTHING
        keyed = estimates.keyed
        clock_s = frame.clock_s
        key = keyed.since_s, estimates.drive
        if key != self._surge_key:
            self._surge_key = key
            for surge, _ in self._surges:
                surge.restart()
        level = sum(estimates.currents) / (sqrt(forward_w(frame)) if driven else 1.0)
        heatsink_c = estimates.sink.heatsink_c
        if not keyed.steady(clock_s) or not level + heatsink_c < inf:
            return NOTHING
        said: list[Finding] = []
        for surge, condition in self._surges:
            if not surge.feed(clock_s, heatsink_c, level):
                continue
            event = condition.judge(surge.grown > 0.0, clock_s, clock_s)
            if event is not None:
                total_a = sum(estimates.currents)
                text = _text(event, (surge.grown, surge.risen_k, surge.seconds), total_a, "and does not slow down")
                said.append(
                    condition.finding(event, frame.time_ns, text, unit="1", value=surge.grown, limit=surge.limit)
                )
        return said

    def listen(self, block: Block, by: Shared, time_ns: int) -> Sequence[Finding]:
        """Judge one block of speech, whose current goes with the root of its power as told."""
        if block.keyed_s - block.seconds < _SWELL_FROM_S:
            return NOTHING
        climbed = self._climb.feed(block.clock_s, block.heatsink_c, block.total_a, block.root_w, by)
        return self._say(self._climbed, block, climbed, (swell.GROWN, "beyond any warming"), time_ns)

    def look(self, block: Block, current_a: float, time_ns: int) -> Sequence[Finding]:
        """Judge one block under a steady drive by the part of its current that does not go with its power, A."""
        said: list[Finding] = []
        keyed_s = block.keyed_s - block.seconds
        if keyed_s >= _SWELL_FROM_S and block.state is State.DRIVEN:
            swollen = self._swell.feed(block.clock_s, block.heatsink_c, current_a, block.forward_w)
            said += self._say(self._swollen, block, swollen, (swell.GROWN, "beyond any warming"), time_ns)
        if keyed_s >= _CURVE_FROM_S:
            upward = self._curvature.feed(block.clock_s, block.heatsink_c, current_a)
            if upward is not None and upward.grown * current_a < _SURE * block.noise_a:
                upward = None
            said += self._say(self._bent, block, upward, (curvature.GROWN, "and does not slow down"), time_ns)
        return said

    def _say(
        self,
        condition: Condition,
        block: Block,
        grown: tuple[float, float, float] | None,
        beyond: tuple[float, str],
        time_ns: int,
    ) -> Sequence[Finding]:
        if grown is None and condition.quiet:
            return NOTHING
        event = condition.judge(grown is not None, block.clock_s, block.seconds)
        if event is None:
            return NOTHING
        grown = grown or (0.0, 0.0, 0.0)
        limit, why = beyond
        text = _text(event, grown, block.total_a, why)
        return [condition.finding(event, time_ns, text, unit="1", value=grown[0], limit=limit)]


def _text(event: Event, grown: tuple[float, float, float], total_a: float, why: str) -> str:
    if event is Event.RETURNED:
        return "drain current no longer grows by itself"
    ratio, risen_k, seconds = grown
    return (
        f"drain current has grown by {percent(ratio)} and the heatsink by {risen_k:.1f} K in {seconds:.0f} s at "
        f"constant drive {why} ({total_a:.2f} A now): it runs away; look at "
        "the bias compensation and its sensor's thermal contact, then at the devices"
    )
