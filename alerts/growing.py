"""A current under a steady drive that grows: from its own course, and from the least that it has come down to.

Part of the rule ``bias-drift``: for a unit that is still warming up, which has shown no coefficient yet.
"""

from collections.abc import Sequence
from math import expm1, log
from typing import NamedTuple

from alerts.answers import DRIVE_PER_K, PER_POWER, PER_SUPPLY
from alerts.estimates import Block
from alerts.estimators.rebound import Rebound
from alerts.fall import Fall, Falling
from alerts.keyed import State
from alerts.types import Event, Finding, Priority
from alerts.watch import NOTHING, Condition, Terms, percent
from sensors.types import Drive

#: how the part of the current that does not go with power grows from its own course, as a fall of its logarithm; a
#: power control takes more where the supply gives less
_GROWS = Falling(
    lambda block: PER_POWER.mean * log(block.forward_w) - log(block.total_a),
    noise=0.001,
    per_k=DRIVE_PER_K.sd,
    per_supply=PER_SUPPLY.sd,
    recovers=True,
)
#: standard deviations of the temperature coefficient that a growth from the least is let off
_SURE = 2.0
#: the limit is so many times wider: no history stands behind it
_WIDER = 1.25
#: a change must last, s; and within this part of its limit the current is normal again; common practice, no source
DWELL_S, BACK = 10.0, 0.6


class _Drive(NamedTuple):
    """One steady drive."""

    course: Fall
    off_course: Condition
    rebound: Rebound
    over_least: Condition


class Growing:
    """Feed it blocks; those that are idle or of speech tell it nothing."""

    def __init__(self, terms: Terms, rule: str) -> None:
        self._terms, self._rule = terms, rule
        self._drives: dict[Drive, _Drive] = {}

    def look(self, block: Block, what_to_do: str, time_ns: int) -> Sequence[Finding]:
        """Judge one block; ``what_to_do`` ends the sentence."""
        if block.state is State.IDLE or block.drive is Drive.MODULATED:
            return NOTHING
        if not (block.supply_v > 1.0 and block.forward_w > 0.0):
            return NOTHING
        drive = self._drives.get(block.drive) or self._begin(block.drive)
        under = drive.course.feed(block)
        over = drive.rebound.feed(log(block.total_a), block.heatsink_c, log(block.forward_w), log(block.supply_v))
        said: list[Finding] = []
        for condition, grown, over_what in (
            (drive.off_course, None if under is None else -under, "this unit's own course while it warms up"),
            (drive.over_least, over, "the least that it has come down to as the unit warmed up"),
        ):
            if grown is not None:
                said += self._say(condition, block, expm1(grown), (over_what, what_to_do), time_ns)
        return said

    def _say(
        self, condition: Condition, block: Block, ratio: float, words: tuple[str, str], time_ns: int
    ) -> Sequence[Finding]:
        limit = _WIDER * self._terms.limits.bias_drift_drive_ratio
        event = condition.judge_band(ratio > limit, ratio < BACK * limit, block.clock_s, DWELL_S)
        if event is None:
            return NOTHING
        over_what, what_to_do = words
        text = f"drain current under {block.drive} is no longer over {over_what}"
        if event is Event.RAISED:
            text = (
                f"drain current under {block.drive} is {percent(ratio)} over {over_what}, beyond what goes with its "
                f"power, over the limit of {percent(limit)} for {condition.lasted}: {what_to_do}"
            )
        return [condition.finding(event, time_ns, text, unit="1", value=ratio, limit=limit)]

    def _begin(self, drive: Drive) -> _Drive:
        off_course, over_least = (
            Condition(self._terms, self._rule, f"{drive} {what}", Priority.WARNING, DWELL_S)
            for what in ("course", "least")
        )
        rebound = Rebound(per_k=_SURE * DRIVE_PER_K.sd, per_power=PER_POWER.mean, per_supply=PER_SUPPLY.sd)
        made = self._drives[drive] = _Drive(Fall(_GROWS), off_course, rebound, over_least)
        return made
