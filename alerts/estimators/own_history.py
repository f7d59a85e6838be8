"""What a figure should be by this unit's own history, and a test of whether it still is.

A figure is explained by a few others (temperature, power, supply) whose coefficients have a physical prior and are
then learned from this unit. What is newer than ``delay_s`` is judged and not yet learned, so that a slow fault does not
teach itself as normal; while the test leans towards a signal nothing is learned at all.

What the history does not know yet is no evidence: a wrong coefficient puts the same error into every sample, and no
count of them makes it noise. So a residual speaks only by what it is beyond the band of what may be expected, which is
wide where the explaining figures are where this unit has not been yet. But learning stops on less, on a residual that
leans one way for what is expected of it and of the noise: within the band a slow fault would else be a coefficient.
"""

from collections import deque
from collections.abc import Sequence
from math import inf, sqrt
from typing import NamedTuple

from alerts.estimators.cusum import Bank, Signal
from alerts.estimators.recursive import Recursive

#: a single sample counts for no more than this many standard deviations in the sums: one bad reading says nothing
CLIP_SD = 3.0
#: neighbouring means of a few seconds share slow noise: each counts as this part of an independent one
INFORMATION = 0.34
#: share of the newest residual in the smoothed one
SMOOTH = 0.3
#: a residual moves its smoothed value as if it were no further off than this
_STEP_SD = 8.0
#: half the width of the band, in standard deviations of the expected value
SURE_SD = 2.0
#: how full the fullest chart may be before learning stops
_LEARN_BELOW = 0.4
#: observations without which a history says nothing
LEAST = 8


class Answers(NamedTuple):
    """How a figure answers to one that explains it, before any data: its coefficient's mean and standard deviation.

    ``reach`` is how much the expected figure may be wrong for each unit by which the explaining one is beyond
    what has been learned from: no coefficient is good for ever. Of one that is ``capped``, what is more than was ever
    learned from explains nothing, since it may well be what is to be explained that makes it more; but for so much as
    the cap gives for each unit by which the first explaining figure is under all that was learned from. ``ends`` is how
    far the figure may have been off, of itself, at one end of what was learned from against the other: a coefficient
    from a narrow range is no better than that, but never worse than before any data.
    """

    mean: float
    sd: float
    reach: float = 0.0
    capped: float = inf
    ends: float = 0.0


class Judged(NamedTuple):
    """One judged figure: what it is off by (smoothed), the noise's standard deviation, and the test.

    ``since_s`` is the clock since when it has been beyond what is sure of what is expected.
    ``least`` is what it is off by beyond the band, ``trusting`` the same where each coefficient is trusted to be good
    for ever; both have the sign of ``off``, and are 0 within.
    """

    off: float
    least: float
    trusting: float
    sd: float
    expected: float
    signals: bool
    up: bool
    since_s: float


class OwnHistory:
    """The history of one figure in one state of the radio.

    ``answers`` says what is known beforehand of each explaining figure's coefficient. The constant is free. ``run`` is
    the in-control run length of the test, in samples.
    """

    __slots__ = (
        "_answers",
        "_bank",
        "_capped",
        "_delay_s",
        "_high",
        "_lean",
        "_line",
        "_low",
        "_room",
        "_since_s",
        "fit",
        "off",
        "origin",
    )

    def __init__(
        self, answers: Sequence[Answers], *, noise_sd: float, floor_sd: float, delay_s: float, run: float
    ) -> None:
        self._answers = tuple(answers)
        self._capped = [(i, a.capped) for i, a in enumerate(answers) if a.capped < inf]
        self._low = [0.0] * len(answers)
        self._high = [0.0] * len(answers)
        self._delay_s = delay_s
        self._line: deque[tuple[float, tuple[float, ...], float]] = deque()
        self.origin: tuple[float, ...] = ()
        self._bank = Bank(run)
        self._lean = Bank(run)
        self._room = 256  # bounds the line where samples come faster than anybody would send them
        self.off = 0.0
        self._since_s = inf
        self.fit = Recursive(
            (0.0, *[a.mean for a in answers]),
            (1e3, *[a.sd for a in answers]),
            noise_sd=noise_sd,
            floor_sd=floor_sd,
        )

    @property
    def ready(self) -> bool:
        """Whether it has learned enough to judge by."""
        return self.fit.count >= LEAST

    def waiting_mean(self) -> float | None:
        """The mean of what waits to be learned, None where that is too little."""
        line = self._line
        return sum([figure for _, _, figure in line]) / len(line) if len(line) >= LEAST else None

    def feed(self, clock_s: float, explaining: Sequence[float], figure: float, *, coarse: float = 0.0) -> Judged | None:
        """Take one sample; None until the history is long enough to judge by.

        ``coarse`` is how far the figure may be off, always the same way, since it is read in steps.
        """
        if not self.origin:
            self.origin = tuple(explaining)
        x = (1.0, *[a - b for a, b in zip(explaining, self.origin, strict=True)])
        line = self._line
        calm = self._lean.fullness < _LEARN_BELOW
        while line and (clock_s - line[0][0] > self._delay_s or len(line) >= self._room):
            _, old, value = line.popleft()
            if calm or not self.ready:
                self._learn(old, value)
        line.append((clock_s, x, figure))
        if not self.ready:
            return None
        if self._capped:
            x = self._cap(x)
        expected, sure_sd = self.fit.predict(x)
        noise_sd = self.fit.noise_sd
        residual = figure - expected
        sd = sqrt(sure_sd * sure_sd + noise_sd * noise_sd)
        self.off += SMOOTH * max(-_STEP_SD * sd, min(_STEP_SD * sd, residual - self.off))
        sure = SURE_SD * sure_sd + coarse
        band = sure + self._beyond(x)
        signal = _clipped(self._bank, _outside(residual, band) / noise_sd)
        _clipped(self._lean, residual / sd)
        least, trusting = _outside(self.off, band), _outside(self.off, sure)
        if not trusting:
            self._since_s = inf
        since_s = self._since_s = min(self._since_s, clock_s)
        up = signal.up if signal else False
        return Judged(self.off, least, trusting, noise_sd, expected, signal is not None, up, since_s)

    def _cap(self, x: tuple[float, ...]) -> tuple[float, ...]:
        most = list(x)
        under = max(self._low[0] - x[1], 0.0)
        for i, gives in self._capped:
            most[i + 1] = min(most[i + 1], self._high[i] + gives * under)
        return tuple(most)

    def _learn(self, x: tuple[float, ...], figure: float) -> None:
        self.fit.learn(x, figure, INFORMATION)
        for i, value in enumerate(x[1:]):
            self._low[i] = min(self._low[i], value)
            self._high[i] = max(self._high[i], value)

    def _beyond(self, x: tuple[float, ...]) -> float:
        doubt = 0.0
        for answers, low, high, value in zip(self._answers, self._low, self._high, x[1:], strict=True):
            beyond = max(value - high, low - value, 0.0)
            if beyond:
                narrow = min(answers.ends / max(high - low, 1e-9), answers.sd)
                doubt += max(answers.reach, narrow) * beyond
        return doubt


def _clipped(bank: Bank, sample: float) -> Signal | None:
    signal = bank.feed(max(-CLIP_SD, min(CLIP_SD, sample)))
    bank.hold()
    return signal


def _outside(off: float, band: float) -> float:
    """What ``off`` is beyond the band about zero, with its sign; 0 within it."""
    return max(off - band, 0.0) + min(off + band, 0.0)
