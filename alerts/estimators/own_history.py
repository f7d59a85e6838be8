"""What a figure should be by this unit's own history, and a test of whether it still is.

A figure is explained by a few others (temperature, power, supply) whose coefficients have a physical prior and are
then learned from this unit. What is newer than ``delay_s`` is judged and not yet learned, so that a slow fault does not
teach itself as normal; while the test leans towards a signal nothing is learned at all.
"""

from collections import deque
from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

from alerts.estimators.cusum import Bank
from alerts.estimators.recursive import Recursive

#: a single sample counts for no more than this many standard deviations in the sums: one bad reading says nothing
CLIP_SD = 3.0
#: neighbouring means of a few seconds share slow noise: each counts as this part of an independent one
INFORMATION = 0.34
#: share of the newest residual in the smoothed one
SMOOTH = 0.25
#: a residual moves its smoothed value as if it were no further off than this
_STEP_SD = 8.0
#: how full the fullest chart may be before learning stops
_LEARN_BELOW = 0.4
#: observations without which a history says nothing
LEAST = 8


class Judged(NamedTuple):
    """One judged figure: what it is off by (smoothed), the standard deviation of a sample, and whether it signals."""

    off: float
    sd: float
    expected: float
    signals: bool
    up: bool


class OwnHistory:
    """The history of one figure in one state of the radio.

    ``prior`` gives, for each explaining figure, the mean and the standard deviation that its coefficient has before any
    data. The constant is free. ``run`` is the in-control run length of the test, in samples.
    """

    __slots__ = ("_bank", "_delay_s", "_line", "_prior", "_room", "fit", "floor_sd", "off", "origin")

    def __init__(
        self, prior: Sequence[tuple[float, float]], *, noise_sd: float, floor_sd: float, delay_s: float, run: float
    ) -> None:
        self._prior = prior
        self._delay_s = delay_s
        self._line: deque[tuple[float, tuple[float, ...], float]] = deque()
        self.origin: tuple[float, ...] = ()
        self._bank = Bank(run)
        self._room = 256  # bounds the line where samples come faster than anybody would send them
        self.floor_sd = floor_sd
        self.off = 0.0
        self.fit = Recursive(
            (0.0, *[m for m, _ in prior]),
            (1e3, *[s for _, s in prior]),
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

    def feed(self, clock_s: float, explaining: Sequence[float], figure: float) -> Judged | None:
        """Take one sample; None until the history is long enough to judge by."""
        if not self.origin:
            self.origin = tuple(explaining)
        x = (1.0, *[a - b for a, b in zip(explaining, self.origin, strict=True)])
        line = self._line
        calm = self._bank.fullness < _LEARN_BELOW
        while line and (clock_s - line[0][0] > self._delay_s or len(line) >= self._room):
            _, old, value = line.popleft()
            if calm or not self.ready:
                self.fit.learn(old, value, INFORMATION)
        line.append((clock_s, x, figure))
        if not self.ready:
            return None
        expected, sure_sd = self.fit.predict(x)
        sd = sqrt(sure_sd * sure_sd + self.fit.noise_sd * self.fit.noise_sd)
        residual = figure - expected
        self.off += SMOOTH * max(-_STEP_SD * sd, min(_STEP_SD * sd, residual - self.off))
        signal = self._bank.feed(max(-CLIP_SD, min(CLIP_SD, residual / sd)))
        self._bank.hold()
        return Judged(self.off, sd, expected, signal is not None, signal.up if signal else False)
