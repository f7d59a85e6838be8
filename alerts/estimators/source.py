"""Resistance of a source from what its voltage loses when a load is switched on: ``R = ΔV / ΔI``."""

from collections import deque
from math import nan
from statistics import median

#: samples on each side of an edge that are averaged, and edges whose median speaks
_SIDE, _EDGES = 4, 5


class SourceResistance:
    """Feed it every frame with its key; one value an edge, from the last samples of rest and the first settled ones."""

    __slots__ = ("_after", "_edges", "_rest", "ohm")

    def __init__(self) -> None:
        self._rest: deque[tuple[float, float]] = deque(maxlen=_SIDE)
        self._after: list[tuple[float, float]] = []
        self._edges: deque[float] = deque(maxlen=_EDGES)
        self.ohm = nan

    def feed(self, voltage: float, current_a: float, keyed: bool, steady: bool) -> bool:
        """Take one sample; True when it made an edge whole, and ``ohm`` (median of the last edges) new."""
        if not (voltage == voltage and current_a == current_a):  # noqa: PLR0124  nan
            return False
        if not keyed:
            self._rest.append((voltage, current_a))
            self._after = []
            return False
        if len(self._rest) < _SIDE or not steady:
            return False
        self._after.append((voltage, current_a))
        return len(self._after) >= _SIDE and self._edge()

    def _edge(self) -> bool:
        before_v, before_a = _middle(list(self._rest))
        after_v, after_a = _middle(self._after)
        self._rest.clear()
        self._after = []
        if after_a - before_a < 1.0:
            return False
        self._edges.append((before_v - after_v) / (after_a - before_a))
        self.ohm = median(self._edges)
        return True

    @property
    def edges(self) -> int:
        """How many edges ``ohm`` is from."""
        return len(self._edges)


def _middle(samples: list[tuple[float, float]]) -> tuple[float, float]:
    # the median: one spike beside the edge does nothing
    return median(v for v, _ in samples), median(a for _, a in samples)
