"""Does a figure fall faster than it did before, where all that a sound unit does slows down?

At a constant drive a sound unit's power follows its own warming: driver, finals and heatsink each approach their end
exponentially, so the fall that they cause only ever becomes slower. A straight line through what has been seen is then
the most that the figure can have fallen to, with no coefficient and no time constant known; and a fault that sets in
while the unit is still warming up shows as a fall beyond that line.
"""

from collections import deque
from math import inf, sqrt
from typing import NamedTuple

from alerts.estimators.slope import Line

#: points of a line, how long a line that may be continued must be at the least, s, and how many lines are kept
_LEAST, _MOST, _LINES = 4, 36, 24
#: standard deviations that a line is let off
_SURE = 2.0
#: a line speaks when it is older than this many points
_OLD = 3


class Path(NamedTuple):
    """The lowest course that a line through the past leaves: where it starts and how fast it falls, per s."""

    number: int
    clock_s: float
    level: float
    slope: float
    warmest_c: float
    coldest_c: float
    ln_supply: float


class Decline:
    """Feed it one level after another under the same drive; it tells how far under every course the newest ones are.

    The clock may stand still while the unit rests.

    ``per_k`` is how much of a fall each kelvin beyond what the line has seen explains, warmer or, ``either_way``,
    colder, ``per_supply`` each unit of the supply's logarithm. Of the ``newest`` points the median is compared.
    """

    __slots__ = ("_count", "_either_way", "_least_s", "_newest", "_paths", "_per_k", "_per_supply", "_points", "_sd")

    def __init__(
        self,
        *,
        least_s: float,
        per_k: float,
        per_supply: float,
        sd: float,
        newest: int = 3,
        either_way: bool = False,
    ) -> None:
        self._either_way = either_way
        self._newest = newest
        self._least_s = least_s
        self._per_k, self._per_supply = per_k, per_supply
        self._sd = sd
        self._points: deque[tuple[float, float, float, float]] = deque(maxlen=_MOST)
        self._paths: deque[Path] = deque(maxlen=_LINES)
        self._count = 0

    def restart(self) -> None:
        """Another cycle: what was seen before says nothing."""
        self.rest()
        self._paths.clear()

    def rest(self) -> None:
        """The unit has rested: no line goes across, but it can't have fallen more than if it had not rested."""
        self._points.clear()

    def feed(self, clock_s: float, level: float, heatsink_c: float, ln_supply: float) -> float | None:
        """Take one level; how far the newest are under the highest course but one, 0 where they are not.

        None while there are no two courses.
        """
        points = self._points
        points.append((clock_s, level, heatsink_c, ln_supply))
        self._count += 1
        newest = sorted([p[1] for p in list(points)[-self._newest :]])
        level = newest[len(newest) // 2]
        courses = sorted(
            [
                path.level
                + path.slope * (clock_s - path.clock_s)
                - self._per_k * max(heatsink_c - path.warmest_c, path.coldest_c - heatsink_c, 0.0)
                - self._per_supply * max(path.ln_supply - ln_supply, 0.0)
                for path in self._paths
                if self._count - path.number >= _OLD
            ]
        )
        under = min(level - courses[-2], 0.0) if len(courses) > 1 else None
        self._continue(clock_s)
        return under

    def _continue(self, clock_s: float) -> None:
        points = self._points
        if len(points) < _LEAST or points[-1][0] - points[0][0] < self._least_s:
            return
        line = Line()
        origin_s = points[0][0]
        for at_s, level, _, _ in points:
            line.feed(at_s - origin_s, level)
        n, x = len(points), clock_s - origin_s
        sd = max(line.residual_sd, self._sd)
        slope_sd = sd / sqrt(line.sxx)
        level_sd = sd * sqrt(1.0 / n + (x - line.mean_x) ** 2 / line.sxx)
        self._paths.append(
            Path(
                self._count,
                clock_s,
                line.at(x) - _SURE * level_sd,
                min(line.slope, 0.0) - _SURE * slope_sd,
                max([p[2] for p in points]),
                min([p[2] for p in points]) if self._either_way else -inf,
                sum([p[3] for p in points]) / n,
            )
        )
