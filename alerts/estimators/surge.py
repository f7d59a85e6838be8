"""Whether a current at constant drive grows as nothing but a runaway does: by much, within seconds, and without end.

What a sound stage does after key-down slows down (its devices warm by exponentials, ``curvature`` tells the same of a
minute), and is small. A loop gain well over 1 has the current grow by its own heat from the first seconds on, and is
over before a fit, or a minute's curve, can tell anything.
"""

from collections import deque
from itertools import pairwise

#: a point is a mean over so many seconds; what the current must grow by over a window of points, as a ratio: devices
#: that warm up in seconds add or take some percent, and slow down (common practice, no source); and what its pace may
#: fall to over the window: noise
QUICK, SLOWER = (2.0, 0.25, 0.8), (4.0, 0.15, 0.9)
#: samples that make a point at the least; points that are looked at together; and growth from each to the next
_POINT_SAMPLES, _POINTS, _EACH = 3, 5, 0.02


class Surge:
    """Feed it every sample of one key-down at one drive, and ``restart`` at the next; ``grown`` is 0 while none grows.

    One window alone decides nothing: a spike bends one of them.
    """

    __slots__ = (
        "_count",
        "_current",
        "_from_s",
        "_heat",
        "_holds",
        "_point_s",
        "_points",
        "grown",
        "limit",
        "risen_k",
        "seconds",
    )

    def __init__(self, point_s: float, limit: float, holds: float) -> None:
        self._point_s, self.limit, self._holds = point_s, limit, holds
        self._points: deque[tuple[float, float, float]] = deque(maxlen=_POINTS)
        self.restart()

    def restart(self) -> None:
        """Another key-down, or another drive."""
        self._points.clear()
        self._count = 0
        self._current = self._heat = self._from_s = 0.0
        self.grown = self.risen_k = self.seconds = 0.0

    def feed(self, clock_s: float, heatsink_c: float, current_a: float) -> bool:
        """Take one sample; True when it closed a point, and ``grown`` is new."""
        if self._count == 0:
            self._from_s = clock_s
            self._current = self._heat = 0.0
        self._count += 1
        self._current += current_a
        self._heat += heatsink_c
        if self._count < _POINT_SAMPLES or clock_s - self._from_s < self._point_s:
            return False
        points = self._points
        points.append((clock_s, self._heat / self._count, self._current / self._count))
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
        return (
            self.grown > self.limit
            and self.risen_k > 0.0
            and all(later - sooner > _EACH * sooner for sooner, later in pairwise(a))
            and a[-1] - middle > self._holds * (middle - a[0])
        )
