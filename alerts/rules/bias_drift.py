"""``bias-drift``: the idle current against this unit's own, its temperature coefficient and the drive taken out."""

from collections.abc import Sequence
from math import exp, log, sqrt
from typing import ClassVar, NamedTuple

from alerts.answers import DRIVE_PER_K, IDLE_PER_K, PER_POWER_STEADY, PER_SUPPLY
from alerts.estimates import Block
from alerts.estimators.own_history import Answers, Judged, OwnHistory
from alerts.growing import BACK, DWELL_S, Growing
from alerts.keyed import State
from alerts.pauses import Pause
from alerts.types import JUDGING, Event, Finding, Priority, Situation, Standing, not_applicable, not_yet
from alerts.watch import NOTHING, Condition, Terms, ampere, percent, span
from sensors.types import Drive, Frame

#: 1/K of the bias voltage
_BIAS_PER_K = Answers(0.0, 0.005, 0.001)
#: noise of a block's mean as a ratio: hum, the converter's steps, heat that comes and goes within a cycle
_NOISE, _FLOOR = 0.015, 0.003
#: a current that is read in steps may be off by half a step all the time, now and when it was learned; so many together
#: by this part of a step, times the root of their number
_COARSE = 0.7
_DELAY_S = 180.0
#: under speech so many blocks are one figure that it is as quiet as this, but for five at the most; and the limit is so
#: many times wider, and by the noise of a figure
_SPEECH_NOISE, _SPEECH_BLOCKS, _SPEECH = 0.01, 5, 2.0


class BiasDrift:
    """A bank of CUSUMs (Page 1954) on what temperature, power and supply do not explain, apart for each drive.

    Judged at idle directly; under drive from the current that is left unexplained. Both a signal at the stated
    in-control run length and a change worth a warning are needed.
    """

    name: ClassVar[str] = "bias-drift"

    def __init__(self, terms: Terms) -> None:
        self._terms = terms
        self._estimates = terms.estimates
        self._histories: dict[Drive, OwnHistory] = {}
        self._bias: dict[Drive, OwnHistory] = {}
        self._conditions: dict[Drive, Condition] = {}
        self._grows = Growing(terms, self.name)
        self._block: Block | None = None
        self._pause: Pause | None = None
        self._pauses = self._new_history([IDLE_PER_K, PER_SUPPLY], 2 * _NOISE)
        self._paused = Condition(terms, self.name, "pauses", Priority.WARNING, DWELL_S)
        self._speech: list[tuple[float, ...]] = []
        self._frames = 0

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame: the block that it closed, if it closed one."""
        self._frames += 1
        pause, block = self._estimates.pauses.newest, self._estimates.block
        if pause is not self._pause and pause is not None:
            self._pause = pause
            return self._look_at_pause(pause, frame.time_ns)
        if block is self._block or block is None:
            return NOTHING
        self._block = block
        return self._look_at_block(block, frame.time_ns)

    def _look_at_block(self, block: Block, time_ns: int) -> Sequence[Finding]:
        total_a = block.total_a
        # the first seconds after key-down are the devices' own warming
        if not total_a > 0.02 or block.keyed_s - block.seconds < 5.0:
            return NOTHING
        idle = block.state is State.IDLE
        x: tuple[float, ...] = (block.heatsink_c, log(max(block.supply_v, 1.0)))
        if block.drive is Drive.MODULATED:
            # what goes with how loud it is has been taken out
            level_a = self._estimates.loudness.level_a(block.total_a, block.root_w)
            if level_a is None or not level_a > 0.02:
                return NOTHING
            total_a = level_a
        elif not idle:
            x = (*x, log(max(block.forward_w, 0.1)))
        if any(v != v for v in x):  # noqa: PLR0124  nan
            return NOTHING
        figure: tuple[float, ...] = (*x, log(total_a))
        if block.drive is Drive.MODULATED:
            self._speech.append(figure)
            blocks, _ = self._speech_figure()
            if len(self._speech) < blocks:
                return NOTHING
            figure = tuple([sum(column) / len(self._speech) for column in zip(*self._speech, strict=True)])
            self._speech.clear()
        judged = self._history(block.drive).feed(block.clock_s, figure[:-1], figure[-1], coarse=self._coarse(block))
        bias = self._bias_moves(block)
        grows = self._grows.look(block, _look(bias), time_ns)
        if judged is None:
            return grows
        limits = self._terms.limits
        limit = limits.bias_drift_idle_ratio if idle else limits.bias_drift_drive_ratio
        if block.drive is Drive.MODULATED:
            limit = _SPEECH * limit + judged.sd
        condition = self._conditions.get(block.drive)
        if condition is None:
            subject = str(block.drive)
            condition = Condition(self._terms, self.name, subject, Priority.WARNING, DWELL_S)
            self._conditions[block.drive] = condition
        what = "idle current" if idle else f"drain current under {block.drive}"
        left = "" if idle else ", its power and its supply"
        told = _Told(block, exp(figure[-1]), judged, limit, bias, what, left)
        return [*grows, *self._judge(condition, told, time_ns)]

    def _look_at_pause(self, pause: Pause, time_ns: int) -> Sequence[Finding]:
        if not (pause.total_a > 0.02 and pause.supply_v > 1.0):
            return NOTHING
        x = (pause.heatsink_c, log(pause.supply_v))
        judged = self._pauses.feed(pause.clock_s, x, log(pause.total_a), coarse=self._coarse(pause))
        if judged is None:
            return NOTHING
        if judged.least < 0.0:
            # what has been caught of words adds to a pause and never takes from it: that there was more before says
            # nothing of the bias
            judged = judged._replace(least=0.0)
        limit = self._terms.limits.bias_drift_idle_ratio
        what, left = "idle current in the pauses of speech", " and its supply"
        told = _Told(pause, pause.total_a, judged, limit, None, what, left)
        return self._judge(self._paused, told, time_ns)

    def _coarse(self, block: Block | Pause) -> float:
        together = sqrt(len(block.currents_a)) / block.total_a
        return _COARSE * self._estimates.steps.widest * together

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no current: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Needs drain current, and some minutes of one drive to know the unit by."""
        if self._pauses.ready or any(h.ready for h in self._histories.values()):
            return JUDGING
        if self._frames and self._estimates.drains_known == 0:
            return not_applicable("no drain current is measured")
        return not_yet("the radio has not been keyed long enough in one drive to know its own current")

    @property
    def idle(self) -> OwnHistory | None:
        """The history of the idle current, where there has been any."""
        return self._histories.get(Drive.IDLE)

    def _history(self, drive: Drive) -> OwnHistory:
        history = self._histories.get(drive)
        if history is None:
            prior, noise = [DRIVE_PER_K, PER_SUPPLY, PER_POWER_STEADY], _NOISE
            if drive is Drive.IDLE:
                prior = [IDLE_PER_K, PER_SUPPLY]
            elif drive is Drive.MODULATED:
                prior = [DRIVE_PER_K, PER_SUPPLY]
                noise = self._speech_figure()[1]
            history = self._histories[drive] = self._new_history(prior, noise)
        return history

    def _speech_figure(self) -> tuple[int, float]:
        """How many blocks of speech are one figure, and its noise as a ratio."""
        loudness = self._estimates.loudness
        noise = loudness.shared.noise_sd / loudness.usual_a if loudness.shared is not None else 1.0
        blocks = max(1, min(round((noise / _SPEECH_NOISE) ** 2), _SPEECH_BLOCKS))
        return blocks, max(noise / sqrt(blocks), 0.5 * _NOISE)

    def _new_history(self, prior: Sequence[Answers], noise: float) -> OwnHistory:
        run = self._terms.limits.drift_run_samples
        return OwnHistory(prior, noise_sd=noise, floor_sd=_FLOOR, delay_s=_DELAY_S, run=run)

    def _bias_moves(self, block: Block) -> Judged | None:
        known = [v for v in block.bias_v if v == v]  # noqa: PLR0124  nan
        if not known:
            return None
        history = self._bias.get(block.drive)
        if history is None:
            run = self._terms.limits.drift_run_samples
            history = OwnHistory([_BIAS_PER_K], noise_sd=0.01, floor_sd=0.002, delay_s=_DELAY_S, run=run)
            self._bias[block.drive] = history
        return history.feed(block.clock_s, (block.heatsink_c,), sum(known) / len(known))

    def _judge(self, condition: Condition, told: "_Told", time_ns: int) -> Sequence[Finding]:
        judged, limit = told.judged, told.limit
        least = exp(judged.least) - 1.0
        beyond = abs(least) > limit and judged.signals
        event = condition.judge_band(beyond, abs(least) < BACK * limit, told.of.clock_s, told.of.seconds)
        if event is None:
            return NOTHING
        ratio = exp(judged.off) - 1.0
        return [condition.finding(event, time_ns, _text(event, told), unit="1", value=ratio, limit=limit)]


class _Told(NamedTuple):
    """What there is to say of one current."""

    of: Block | Pause
    current_a: float  # that was judged: under speech, that at its usual loudness
    judged: Judged
    limit: float
    bias: Judged | None
    what: str
    left: str  # what else explains it


def _text(event: Event, told: _Told) -> str:
    if event is Event.RETURNED:
        return f"{told.what} is back at what this unit's own history expects"
    judged = told.judged
    ratio = exp(judged.off) - 1.0
    amount = told.current_a * ratio / (1.0 + ratio)
    return (
        f"{told.what} is {ampere(abs(amount))} ({percent(abs(ratio))}) {'over' if ratio > 0 else 'under'} what this "
        f"unit's own history, its temperature{told.left} explain, for {span(told.of.clock_s - judged.since_s)} now, "
        f"over the limit of {percent(told.limit)}: {_look(told.bias)}"
    )


def _look(bias: Judged | None) -> str:
    if bias is None:
        return "look at the bias supply and its trimmers, then at the devices"
    if bias.signals:
        return f"the bias voltage has moved by {1000 * bias.off:+.0f} mV with it: look at the bias supply"
    return "the bias voltage has not moved: look at the devices"
