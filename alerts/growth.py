"""Growth of one device's share of the current against this unit's own, long before an absolute limit is met."""

from collections.abc import Sequence
from math import log

from alerts.estimates import Block
from alerts.estimators.own_history import Answers, Judged, OwnHistory
from alerts.keyed import State
from alerts.types import Event, Finding, Priority
from alerts.watch import NOTHING, Condition, Terms, percent, span
from sensors.types import Drive, Frame

#: what a share, over the mean of all, may answer to before any data: 1/K, and per unit of ln P. Devices of one kind on
#: one heatsink answer alike, and under drive the bias is the smaller part of the current
_IDLE_PER_K, _DRIVE_PER_K = Answers(0.0, 0.0015, 0.0003), Answers(0.0, 0.0005, 0.0002)
_PER_POWER = Answers(0.0, 0.05)
_NOISE, _FLOOR = 0.01, 0.002
#: a current that is read in steps may be off by half a step all the time, now and when it was learned
_COARSE = 0.7
_DELAY_S = 150.0
_DWELL_S = 10.0
_BACK = 0.6


class Growth:
    """Judges each device's share apart for each drive: part of the rule ``current-imbalance``."""

    def __init__(self, terms: Terms, rule: str) -> None:
        self._terms, self._rule = terms, rule
        self._estimates = terms.estimates
        self._block: Block | None = None
        self._histories: dict[tuple[Drive, int], OwnHistory] = {}
        self._conditions: dict[Drive, Condition] = {}

    def step(self, frame: Frame) -> Sequence[Finding]:
        """Judge the block that this frame closed, if it closed one."""
        block = self._estimates.block
        if block is self._block or block is None:
            return NOTHING
        self._block = block
        limits = self._terms.limits
        n = len(block.currents_a)
        mean_a = block.total_a / n
        idle = block.state is State.IDLE
        if n < 2 or not mean_a > (limits.imbalance_idle_floor_a if idle else limits.imbalance_floor_a):
            return NOTHING
        if block.heatsink_c != block.heatsink_c or block.keyed_s - block.seconds < 2.0:
            return NOTHING
        x = (block.heatsink_c,) if idle else (block.heatsink_c, log(max(block.forward_w, 0.1)))
        coarse = _COARSE * self._estimates.steps.widest / mean_a
        worst: tuple[Judged, int] | None = None
        for i, a in enumerate(block.currents_a):
            judged = self._history(block.drive, i).feed(block.clock_s, x, a / mean_a - 1.0, coarse=coarse)
            if judged is not None and (worst is None or abs(judged.least) > abs(worst[0].least)):
                worst = judged, i
        return self._judge(block, *worst, mean_a, frame.time_ns) if worst else NOTHING

    def _history(self, drive: Drive, device: int) -> OwnHistory:
        history = self._histories.get((drive, device))
        if history is None:
            history = OwnHistory(
                [_IDLE_PER_K] if drive is Drive.IDLE else [_DRIVE_PER_K, _PER_POWER],
                noise_sd=4 * _NOISE if drive is Drive.MODULATED else _NOISE,
                floor_sd=_FLOOR,
                delay_s=_DELAY_S,
                run=self._terms.limits.drift_run_samples,
            )
            self._histories[drive, device] = history
        return history

    def _judge(self, block: Block, judged: Judged, device: int, mean_a: float, time_ns: int) -> Sequence[Finding]:
        limit = self._terms.limits.imbalance_growth_ratio
        if block.state is State.IDLE:
            # small currents share less evenly, and less steadily with temperature: in ratio to the absolute limits
            limit *= 2.5
        condition = self._conditions.get(block.drive)
        if condition is None:
            subject = f"share {block.drive}"
            condition = Condition(self._terms, self._rule, subject, Priority.WARNING, _DWELL_S)
            self._conditions[block.drive] = condition
        beyond = judged.signals and abs(judged.least) > limit
        back = abs(judged.least) < _BACK * limit
        event = condition.judge_band(beyond, back, block.clock_s, block.seconds)
        if event is None:
            return NOTHING
        share = block.currents_a[device] / (mean_a * len(block.currents_a))
        if event is Event.RETURNED:
            text = f"the drain currents' shares under {block.drive} are this unit's own again"
        else:
            way, look = "more", "suspect its thermal pad or screws, its bias, or a weak device"
            if judged.off < 0:
                way, look = "less", "suspect its bias, a weak device, or a thermal pad under another one"
            text = (
                f"drain {device + 1} takes {percent(share)} under {block.drive}, by {percent(abs(judged.off))} of the "
                f"mean {way} than this unit's own history explains, for {span(block.clock_s - judged.since_s)} now, "
                f"over the limit of {percent(limit)}: {look}"
            )
        return [condition.finding(event, time_ns, text, unit="1", value=judged.off, limit=limit)]
