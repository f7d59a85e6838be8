"""``power-fade``: forward power in dB against this unit's own at the same drive; its own thermal sag is allowed for."""

from collections.abc import Sequence
from math import exp, log, log10
from typing import ClassVar

from alerts.estimates import Block
from alerts.estimators.own_history import Answers, OwnHistory
from alerts.fall import POWER_DB, Fall
from alerts.keyed import State
from alerts.types import JUDGING, Event, Finding, Priority, Situation, Standing, not_applicable, not_yet
from alerts.watch import NOTHING, Condition, Terms, span
from sensors.types import FORWARD, Drive, Frame, Quality

#: dB/K: a radio may well sag by 0.3 dB over 30 K (common practice, no source)
_PER_K = Answers(0.0, 0.012, 0.015)
#: dB per unit of ln V: power goes with the supply's square where the stage saturates (8.7), else not at all
_PER_SUPPLY = Answers(5.0, 4.0)
#: dB per whole change from rest to drive, followed with _WARM_S: driver and finals warm before the heatsink does
_PER_DRIVE, _WARM_S = Answers(0.0, 0.15), 300.0
#: what is allowed beside the limit at the first key-down of a drive, and how fast that is taken back
_WARMING_DB, _WARMING_S = 0.05, 600.0
_NOISE_DB, _FLOOR_DB = 0.08, 0.015
_DELAY_S = 180.0
#: key-down before the first reading that counts, and how many blocks make the unit's own reference
_FROM_S, _REFERENCE = 5.0, 6
_BACK = 0.6
#: a power that is read in steps may be off by half a step, now and when its course was drawn; so many together
_COARSE = 0.7


class PowerFade:
    """Not judged under modulated drive: speech has no steady power to hold a radio to."""

    name: ClassVar[str] = "power-fade"

    def __init__(self, terms: Terms) -> None:
        self._terms = terms
        self._estimates = terms.estimates
        self._histories: dict[Drive, OwnHistory] = {}
        self._falls: dict[Drive, Fall] = {}
        self._references: dict[Drive, tuple[float, int]] = {}
        self._conditions: dict[Drive, tuple[Condition, Condition, Condition]] = {}
        self._since_s: dict[Drive, float] = {}
        self._block: Block | None = None
        self._frames = 0
        self._driven = self._last_s = 0.0
        self._measured = False
        self._judging = False

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame: the block that it closed, if it closed one."""
        self._frames += 1
        if frame.quality[FORWARD] != Quality.MISSING:
            self._measured = True
        driven = 1.0 if self._estimates.keyed.state is State.DRIVEN else 0.0
        self._driven += (driven - self._driven) * min(max(frame.clock_s - self._last_s, 0.0) / _WARM_S, 1.0)
        self._last_s = frame.clock_s
        block = self._estimates.block
        if block is self._block or block is None:
            return NOTHING
        self._block = block
        steady = block.state is State.DRIVEN and block.drive not in (Drive.MODULATED, Drive.IDLE)
        if not steady or not block.forward_w > 0.0 or block.keyed_s - block.seconds < _FROM_S:
            return NOTHING
        self._judging = True
        level_db = 10.0 * log10(block.forward_w)
        return [
            *self._against_first(block, level_db, frame.time_ns),
            *self._unexplained(block, level_db, frame.time_ns),
            *self._steepens(block, frame.time_ns),
        ]

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no power: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Needs forward power under a steady drive."""
        if self._judging:
            return JUDGING
        if self._frames and not self._measured:
            return not_applicable("forward power is not measured")
        return not_yet("the radio has not been driven steadily; speech has no steady power to judge")

    def _watch(self, drive: Drive) -> tuple[Condition, Condition, Condition]:
        made = self._conditions.get(drive)
        if made is None:
            dwell_s = self._terms.limits.fade_dwell_s
            first, own, falls = (
                Condition(self._terms, self.name, f"{drive} {what}", Priority.WARNING, dwell_s)
                for what in ("first", "own", "falls")
            )
            made = self._conditions[drive] = (first, own, falls)
        return made

    def _against_first(self, block: Block, level_db: float, time_ns: int) -> Sequence[Finding]:
        reference_db, count = self._references.get(block.drive, (0.0, 0))
        if count < _REFERENCE:
            self._references[block.drive] = (reference_db + (level_db - reference_db) / (count + 1), count + 1)
            return NOTHING
        limit = self._terms.limits.fade_db
        return self._say(
            self._watch(block.drive)[0],
            block,
            level_db - reference_db,
            least_db=level_db - reference_db,
            limit=limit,
            back=level_db - reference_db > -_BACK * limit,
            time_ns=time_ns,
            what="own first power",
        )

    def _unexplained(self, block: Block, level_db: float, time_ns: int) -> Sequence[Finding]:
        history = self._histories.get(block.drive)
        if history is None:
            run = self._terms.limits.drift_run_samples
            history = OwnHistory(
                [_PER_K, _PER_SUPPLY, _PER_DRIVE], noise_sd=_NOISE_DB, floor_sd=_FLOOR_DB, delay_s=_DELAY_S, run=run
            )
            self._histories[block.drive] = history
        if block.heatsink_c != block.heatsink_c or not block.supply_v > 1.0:
            return NOTHING
        explaining = block.heatsink_c, log(block.supply_v), self._driven
        judged = history.feed(block.clock_s, explaining, level_db, coarse=self._coarse_db(block))
        if judged is None:
            return NOTHING
        # a radio that is still warming up may sag in ways that it has not shown yet
        since_s = block.clock_s - self._since_s.setdefault(block.drive, block.clock_s)
        warming_db = _WARMING_DB * exp(-since_s / _WARMING_S)
        limits = self._terms.limits
        settled_db, unexplained_db = limits.fade_settled_db + warming_db, limits.fade_unexplained_db + warming_db
        # a power control lets go where its headroom ends, which no coefficient that was learned before tells of: where
        # the heatsink is warmer than it was, more is let be
        settled = judged.signals and not judged.up and judged.least < -settled_db
        least_db, limit = (judged.least, settled_db) if settled else (judged.trusting, unexplained_db)
        return self._say(
            self._watch(block.drive)[1],
            block,
            judged.off,
            least_db=least_db,
            limit=limit,
            back=judged.least > -_BACK * settled_db,
            time_ns=time_ns,
            what="own power at this temperature and supply",
            since_s=judged.since_s,
        )

    def _steepens(self, block: Block, time_ns: int) -> Sequence[Finding]:
        fall = self._falls.get(block.drive)
        if fall is None:
            fall = self._falls[block.drive] = Fall(POWER_DB)
        if block.heatsink_c != block.heatsink_c or not block.supply_v > 1.0:
            return NOTHING
        under_db = fall.feed(block)
        if under_db is None:
            return NOTHING
        limit = self._terms.limits.fade_falling_db + self._coarse_db(block)
        return self._say(
            self._watch(block.drive)[2],
            block._replace(seconds=self._terms.limits.fade_dwell_s),
            under_db,
            least_db=under_db,
            limit=limit,
            back=under_db > -_BACK * limit,
            time_ns=time_ns,
            what="own course while it warms up",
        )

    def _coarse_db(self, block: Block) -> float:
        return 10.0 * log10(1.0 + _COARSE * self._estimates.power_steps.sure / block.forward_w)

    def _say(
        self,
        condition: Condition,
        block: Block,
        off_db: float,
        *,
        least_db: float,
        limit: float,
        back: bool,
        time_ns: int,
        what: str,
        since_s: float | None = None,
    ) -> Sequence[Finding]:
        event = condition.judge_band(least_db < -limit, back, block.clock_s, block.seconds)
        if event is None:
            return NOTHING
        if event is Event.RETURNED:
            text = f"forward power under {block.drive} is back at {off_db:+.2f} dB of this unit's {what}"
        else:
            lasted = condition.lasted if since_s is None else span(block.clock_s - since_s)
            text = (
                f"forward power under {block.drive} is {block.forward_w:.1f} W, {off_db:+.2f} dB of this unit's {what}"
                f", over the {limit:.2f} dB that it may fall, for {lasted}: look at the driver and its supply, the "
                "drive level, then the finals"
            )
        return [condition.finding(event, time_ns, text, unit="dB", value=off_db, limit=-limit)]
