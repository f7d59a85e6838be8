"""Whether a temperature has leapt: from one reading to the next further than heat could take it, and stayed there."""

from collections import deque
from math import sqrt
from statistics import median

#: readings on each side of a leap: one spike, or two beside it, is none
_SIDE = 3
#: a leap is at least so far, K, and so many standard deviations of the reading's own noise
_LEAST_K, _LEAST_SD = 3.0, 8.0
#: each side of it is calm: its range is no more than this part of the leap. Warming, however quick, is spread over both
_CALM = 0.3
#: no heatsink or sensor follows faster than this, K/s: 60 W into 60 J/K, a few fins; common practice, no source
_FASTEST_K_PER_S = 1.0
#: readings further apart than this are no neighbours, s
_GAP_S = 10.0
_NOISE_K, _SHARE = 0.1, 0.02


class Leap:
    """Feed it every reading; ``by_k`` is how far the readings have leapt in all, 0 while they never have."""

    __slots__ = ("_line", "_noise", "by_k")

    def __init__(self) -> None:
        self._line: deque[tuple[float, float]] = deque(maxlen=2 * _SIDE)
        self._noise = _NOISE_K * _NOISE_K
        self.by_k = 0.0

    def feed(self, clock_s: float, value_c: float) -> bool:
        """Take one reading; True where it makes a leap certain."""
        line = self._line
        if line and not 0.0 < clock_s - line[-1][0] <= _GAP_S:
            line.clear()
        line.append((clock_s, value_c))
        if len(line) < 2 * _SIDE:
            return False
        # most neighbours differ by noise alone: each counts for no more than three times what they usually do
        step_k = line[-1][1] - line[-2][1]
        self._noise += _SHARE * (min(0.5 * step_k * step_k, 9.0 * self._noise) - self._noise)
        if abs(line[_SIDE][1] - line[_SIDE - 1][1]) < _LEAST_K:
            return False
        values = [c for _, c in line]
        before, after = values[:_SIDE], values[_SIDE:]
        by_k = median(after) - median(before)
        took_s = line[_SIDE][0] - line[_SIDE - 1][0]
        least_k = max(_LEAST_K, _LEAST_SD * sqrt(self._noise), _FASTEST_K_PER_S * took_s)
        calm_k = max(max(side) - min(side) for side in (before, after))
        if abs(by_k) < least_k or calm_k > _CALM * abs(by_k):
            return False
        self.by_k += by_k
        line.clear()
        return True
