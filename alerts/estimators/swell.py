"""Whether a current at constant drive has grown within a minute or two by what no sound stage, and no creep, adds.

A loop gain of several grows at once and then slows down for a while, as the near part of a heatsink is warm before the
far one: no curve bends upward, and one key-down is over before the next one tells a slope.
"""

from collections import deque
from typing import NamedTuple

#: how long ago the least current may be, s; what it must have grown by since, as a ratio, and the heatsink, K; and the
#: part of the power that must be left: a load that has gone wrong takes more current for less power (common practice,
#: no source)
WITHIN_S, GROWN, RISEN_K, _POWER = 120.0, 0.25, 0.5, 0.85


class Swollen(NamedTuple):
    """Growth as a ratio, the heatsink's rise, K, and since when, s."""

    grown: float
    risen_k: float
    seconds: float


class Swell:
    """Feed it the means of one key-down at one drive, some seconds each; ``restart`` at the next."""

    __slots__ = ("_line",)

    def __init__(self) -> None:
        self._line: deque[tuple[float, float, float, float]] = deque(maxlen=64)

    def restart(self) -> None:
        """Another key-down, or another drive."""
        self._line.clear()

    def feed(self, clock_s: float, heatsink_c: float, level: float, forward_w: float) -> Swollen | None:
        """Take one mean: s, Cel, the part of the current that does not go with power, W; what it shows, or None."""
        line = self._line
        while line and clock_s - line[0][0] > WITHIN_S:
            line.popleft()
        line.append((clock_s, heatsink_c, level, forward_w))
        at_s, was_c, least, was_w = min(line, key=lambda one: one[2])
        if not least > 0.0 or level < max([one[2] for one in line]):
            return None
        grown, risen_k = level / least - 1.0, heatsink_c - was_c
        if not (grown > GROWN and risen_k > RISEN_K and forward_w > _POWER * was_w):
            return None
        return Swollen(grown, risen_k, clock_s - at_s)
