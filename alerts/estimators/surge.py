"""Whether a current at constant drive grows as nothing but a runaway does: by much, within seconds, and without end.

What a sound stage does after key-down slows down (its devices warm by exponentials, ``curvature`` tells the same of a
minute), and is small. A loop gain well over 1 has the current grow by its own heat from the first seconds on, and is
over before a fit, or a minute's curve, can tell anything.
"""

from collections import deque
from itertools import pairwise
from math import nan, sqrt
from typing import NamedTuple


class Growth(NamedTuple):
    """What counts as a surge: means over ``point_s``, and what the current must grow by over all and over each of them.

    ``holds`` is what its pace must be in the later half of the window over that in the sooner one.
    """

    point_s: float
    grown: float
    each: float
    holds: float


#: devices that warm up in seconds add or take some percent, and slow down (common practice, no source); the less the
#: current grows, the less may noise have to do with it
QUICK, SLOWER, EARLY = Growth(2.0, 0.25, 0.02, 0.8), Growth(4.0, 0.15, 0.02, 0.9), Growth(3.0, 0.10, 0.008, 1.1)
SURGES = (QUICK, SLOWER, EARLY)
#: samples that make a point at the least; points that are looked at together
_POINT_SAMPLES, _POINTS = 3, 5
#: no step is more than so many times the one before it: that would be a spike, or a switch
_STEP = 3.5
#: and the growth is so many times what the means may be off by, as the readings scatter
_SURE = 6.0


class Surge:
    """Feed it every sample of one key-down at one drive, and ``restart`` at the next; ``grown`` is 0 while none grows.

    One window alone decides nothing: a spike bends one of them.
    """

    __slots__ = (
        "_count",
        "_current",
        "_from_s",
        "_heat",
        "_last",
        "_points",
        "_scatter",
        "_what",
        "grown",
        "risen_k",
        "seconds",
    )

    def __init__(self, what: Growth) -> None:
        self._what = what
        self._points: deque[tuple[float, float, float, int, float]] = deque(maxlen=_POINTS)
        self.restart()

    @property
    def limit(self) -> float:
        """What the current must grow by, as a ratio."""
        return self._what.grown

    def restart(self) -> None:
        """Another key-down, or another drive."""
        self._points.clear()
        self._count = 0
        self._current = self._heat = self._from_s = self._scatter = 0.0
        self._last = nan
        self.grown = self.risen_k = self.seconds = 0.0

    def feed(self, clock_s: float, heatsink_c: float, current_a: float) -> bool:
        """Take one sample; True when it closed a point, and ``grown`` is new."""
        if self._count == 0:
            self._from_s = clock_s
            self._current = self._heat = self._scatter = 0.0
        self._count += 1
        if self._last == self._last:
            self._scatter += (current_a - self._last) ** 2
        self._last = current_a
        self._current += current_a
        self._heat += heatsink_c
        if self._count < _POINT_SAMPLES or clock_s - self._from_s < self._what.point_s:
            return False
        points = self._points
        n = self._count
        points.append((clock_s, self._heat / n, self._current / n, n, self._scatter))
        self._count = 0
        if not self._says():
            self.grown = 0.0
        return True

    def _says(self) -> bool:
        points = list(self._points)
        if len(points) < _POINTS or not points[0][2] > 0.0:
            return False
        a = [p[2] for p in points]
        self.grown, self.risen_k = a[-1] / a[0] - 1.0, points[-1][1] - points[0][1]
        self.seconds = points[-1][0] - points[0][0]
        middle = a[_POINTS // 2]
        steps = [later - sooner for sooner, later in pairwise(a)]
        what = self._what
        variance = 0.5 * sum(p[4] for p in points) / sum(p[3] for p in points)
        noise = sqrt(variance * (1.0 / points[0][3] + 1.0 / points[-1][3]))
        return (
            self.grown > what.grown
            and a[-1] - a[0] > _SURE * noise
            and self.risen_k > 0.0
            and all(step > what.each * sooner for step, sooner in zip(steps, a, strict=False))
            and all(later < _STEP * sooner for sooner, later in pairwise(steps))
            and a[-1] - middle > what.holds * (middle - a[0])
        )
