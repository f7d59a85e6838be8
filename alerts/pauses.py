"""What a radio draws in the pauses of speech: its idle current, where its drive never stands still.

Speech is another at each reading; only its pauses are alike. Drive adds to the idle current and never takes from it, so
that the least that is drawn while next to no power comes out is the idle current, whatever else has been caught.
"""

from typing import NamedTuple

#: readings that make one point, the least time that they are taken from, s, and which of them tells, from the least
#: one: that one may be a spike
_READINGS, _LEAST_S, _TELLS = 10, 20.0, 1
#: readings further apart than this, s, belong to no one point
_MOST_S = 300.0


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
        told = sorted(rows, key=lambda one: sum(one[2:]))[_TELLS]
        self.newest = Pause(clock_s, clock_s - self._from_s, told[0], told[1], told[2:])
        rows.clear()
