"""Whether a noisy level climbs within a minute or two by what no sound stage, and no creep, adds.

What ``swell`` tells of a quiet level; here each mean is off by noise of a known size, and three groups of them are
compared: a step is no climb, and what noise may do is none either.
"""

from collections import deque
from math import hypot, sqrt

from alerts.estimators.covariance import Shared
from alerts.estimators.slope import Line
from alerts.estimators.swell import GROWN, RISEN_K, WITHIN_S, Swollen

#: what the last group must be over the first, and each over the one before, in standard deviations of such a difference
_SURE, _EACH = 6.0, 2.0

#: s, Cel, the level, and the covariate that it goes along with
_Mean = tuple[float, float, float, float]


class Climb:
    """Feed it means of some seconds each, of one drive."""

    __slots__ = ("_line",)

    def __init__(self) -> None:
        self._line: deque[_Mean] = deque(maxlen=64)

    def feed(self, clock_s: float, heatsink_c: float, level: float, along: float, by: Shared) -> Swollen | None:
        """Take one mean: s, Cel, the level, and the covariate that it goes along with; what it shows, or None."""
        line = self._line
        while line and clock_s - line[0][0] > WITHIN_S:
            line.popleft()
        line.append((clock_s, heatsink_c, level, along))
        points = list(line)
        # what went before may hide how it climbs now: as many as there are, and fewer, down to two in a group
        most = len(points) // 3
        for size in range(most, max(min(most, 2) - 1, 0), -1):
            told = _look(points if size == most else points[-3 * size :], size, by)
            if told is not None:
                return told
        return None


def _look(points: list[_Mean], size: int, by: Shared) -> Swollen | None:
    usual = sum(one[3] for one in points) / len(points)
    starts = (0, (len(points) - size) // 2, len(points) - size)
    first, middle, last = (_Group(points[i : i + size], usual, by) for i in starts)
    risen_k = points[-1][1] - points[0][1]
    far = last.over(first) > max(GROWN * first.level, _SURE * last.noise(first))
    steps = middle.over(first) > _EACH * middle.noise(first) and last.over(middle) > _EACH * last.noise(middle)
    if not (first.level > 0.0 and far and steps and risen_k > RISEN_K and _climbs(points, by.slope)):
        return None
    return Swollen(last.over(first) / first.level, risen_k, points[-1][0] - points[0][0])


def _climbs(points: list[_Mean], slope: float) -> bool:
    """Whether a line says more of the levels than the best of all steps does."""
    levels = [level - slope * along for _, _, level, along in points]
    line, before, after = Line(), Line(), Line()
    stepped = [0.0] * len(points)
    for i, level in enumerate(levels):
        line.feed(points[i][0], level)
        stepped[i] += before.syy
        before.feed(0.0, level)
    for i in range(len(levels) - 1, -1, -1):
        after.feed(0.0, levels[i])
        stepped[i] += after.syy
    return line.sse < min(stepped)


class _Group:
    """Some means together: their level at the usual value of the covariate."""

    def __init__(self, points: list[_Mean], usual: float, by: Shared) -> None:
        self._by, self._size = by, len(points)
        self._along = sum(one[3] for one in points) / self._size
        self.level = sum(one[2] for one in points) / self._size - by.slope * (self._along - usual)

    def over(self, other: "_Group") -> float:
        """How far it is over another."""
        return self.level - other.level

    def noise(self, other: "_Group") -> float:
        """The standard deviation of that."""
        by = self._by
        return hypot(by.noise_sd * sqrt(2.0 / self._size), by.slope_sd * (self._along - other._along))
