"""What a radio draws in the pauses of speech: its idle current, where its drive never stands still.

Speech is another at each reading; only its pauses are alike.
"""

from statistics import median
from typing import NamedTuple

#: readings that make one point, and the least time that they are taken from, s
_READINGS, _LEAST_S = 5, 10.0
#: readings further apart than this, s, belong to no one point
_MOST_S = 120.0


class Pause(NamedTuple):
    """Medians over some pauses: s, Cel, V, A each."""

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

    __slots__ = ("_from_s", "_rows", "newest")

    def __init__(self) -> None:
        self._rows: list[tuple[float, ...]] = []
        self._from_s = 0.0
        self.newest: Pause | None = None

    def feed(self, clock_s: float, heatsink_c: float, supply_v: float, currents_a: tuple[float, ...]) -> None:
        """Take one reading: s, Cel, V, A each; one that is not complete tells nothing."""
        row = (heatsink_c, supply_v, *currents_a)
        if any(v != v for v in row):  # noqa: PLR0124  nan
            return
        rows = self._rows
        if rows and (clock_s - self._from_s > _MOST_S or len(rows[0]) != len(row)):
            rows.clear()
        if not rows:
            self._from_s = clock_s
        rows.append(row)
        if len(rows) < _READINGS or clock_s - self._from_s < _LEAST_S:
            return
        middle = [median(column) for column in zip(*rows, strict=True)]
        self.newest = Pause(clock_s, clock_s - self._from_s, middle[0], middle[1], tuple(middle[2:]))
        rows.clear()
