"""What a radio draws in the pauses of speech: its idle current, where its drive never stands still.

Speech is another at each reading; only its pauses are alike. Drive adds to the idle current and never takes from it, so
that the least that is drawn while next to no power comes out is the idle current, whatever else has been caught.
"""

from collections import deque
from math import inf
from typing import NamedTuple

#: readings between one point and the next, the least time between them, s, and which of twice as many readings tells,
#: from the least one: that one may be a spike
_READINGS, _LEAST_S, _TELLS = 10, 20.0, 1
#: where so many readings after that one are within this factor of it there is a pause; else words have been caught in
#: all of them
_ALIKE, _WITHIN = 3, 1.12
#: readings further apart than this, s, belong to no one point
_MOST_S = 600.0


class Pause(NamedTuple):
    """What some pauses tell: s, Cel, V, A each."""

    clock_s: float
    seconds: float
    heatsink_c: float
    supply_v: float
    currents_a: tuple[float, ...]

    @property
    def total_a(self) -> float:
        """The sum of the drain currents."""
        return sum(self.currents_a)


class Pauses:
    """Feed it every reading of a pause; ``newest`` is another object each time."""

    __slots__ = ("_new", "_rows", "_told_s", "newest")

    def __init__(self) -> None:
        self._rows: deque[tuple[float, ...]] = deque(maxlen=2 * _READINGS)
        self._new = 0
        self._told_s = -inf
        self.newest: Pause | None = None

    def feed(self, clock_s: float, heatsink_c: float, supply_v: float, currents_a: tuple[float, ...]) -> None:
        """Take one reading: s, Cel, V, A each; one that is not complete tells nothing."""
        row = (clock_s, heatsink_c, supply_v, *currents_a)
        if any(v != v for v in row):  # noqa: PLR0124  nan
            return
        rows = self._rows
        if rows and (clock_s - rows[0][0] > _MOST_S or len(rows[0]) != len(row)):
            rows.clear()
        rows.append(row)
        self._new += 1
        if len(rows) < 2 * _READINGS or self._new < _READINGS or clock_s - self._told_s < _LEAST_S:
            return
        quiet = sorted(rows, key=lambda one: sum(one[3:]))
        _, heat_c, volt, *amperes = quiet[_TELLS]
        self._new, self._told_s = 0, clock_s
        if sum(quiet[_TELLS + _ALIKE][3:]) < _WITHIN * sum(amperes):
            self.newest = Pause(clock_s, clock_s - rows[0][0], heat_c, volt, tuple(amperes))
