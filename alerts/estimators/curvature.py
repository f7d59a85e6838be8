"""Whether current and temperature run away at constant drive: both rise, and neither bends down.

One thermal pole has ``C·d²T/dt² = dP/dt - (dT/dt)/R``: its curve bends upward where, and only where, the loop gain
``(dP/dT)·R`` is over 1, whatever C and R are. A sensor behind its heatsink reads such a curve for a while after
key-down in a stable unit too; but there the current, which follows the devices and no sensor, does not bend upward.
"""

from collections import deque
from typing import NamedTuple

#: means of a few seconds that are looked at together, in three groups of equal size
_GROUP = 2
#: what a current must have grown by over the window, and at every mean of its last two groups, as a ratio: a healthy
#: unit's current under a constant drive hardly moves in a minute, and a step is no growth (common practice, no source)
GROWN, _EACH = 0.06, 0.002
#: growth that is beyond any warming in so short a time need not bend upward, only hold its pace, within this part of it
_FAR, _HOLDS = 0.10, 0.8
#: how far the temperature must have risen over the window, and what its bend may be under zero, K: noise, the steps of
#: the converter, and a sensor that is only beginning to follow
_RISEN_K, _BENT_K = 0.3, 0.2


class Upward(NamedTuple):
    """What the window shows: the current's growth as a ratio, and the temperature's rise, K, over so many seconds."""

    grown: float
    risen_k: float
    seconds: float


class Curvature:
    """Feed it the means of one key-down at one drive; ``restart`` at the next. One window alone decides nothing."""

    __slots__ = ("_line",)

    def __init__(self) -> None:
        self._line: deque[tuple[float, float, float]] = deque(maxlen=3 * _GROUP)

    def restart(self) -> None:
        """Another key-down, or another drive."""
        self._line.clear()

    def feed(self, clock_s: float, heatsink_c: float, current_a: float) -> Upward | None:
        """Take one mean; what the newest window shows where it bends upward."""
        line = self._line
        line.append((clock_s, heatsink_c, current_a))
        if len(line) < 3 * _GROUP:
            return None
        points = list(line)
        a, b, c = (_mean(points[i : i + _GROUP]) for i in range(0, 3 * _GROUP, _GROUP))
        grown, risen_k = c[1] / a[1] - 1.0, c[0] - a[0]
        steady = all(y[2] - x[2] > _EACH * x[2] for x, y in zip(points[_GROUP - 1 :], points[_GROUP:], strict=False))
        pace = 1.0 if grown < _FAR else _HOLDS
        bends = c[1] - b[1] > pace * (b[1] - a[1]) and (c[0] - b[0]) - (b[0] - a[0]) > -_BENT_K
        if not (grown > GROWN and risen_k > _RISEN_K and steady and bends):
            return None
        return Upward(grown, risen_k, points[-1][0] - points[0][0])


def _mean(points: list[tuple[float, float, float]]) -> tuple[float, float]:
    return sum(p[1] for p in points) / len(points), sum(p[2] for p in points) / len(points)
