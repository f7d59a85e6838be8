"""The steps in which a converter reads: what is finer than they are is not seen, and no noise averages it out."""

from math import inf


class Steps:
    """The step of each of some readings: the smallest that it has shown lately."""

    __slots__ = ("_before", "_changes", "_steps")

    #: changes that must have been seen before a step is sure
    _SURE = 40
    #: a step widens with temperature through a divider, and a smallest one that was chance is forgotten
    _WIDENS = 1.002

    def __init__(self) -> None:
        self._before: tuple[float, ...] = ()
        self._steps: list[float] = []
        self._changes = 0  # how often any of them has moved

    def feed(self, readings: tuple[float, ...]) -> None:
        """Take the readings of one instant; nan tells nothing."""
        before, self._before = self._before, readings
        if len(before) != len(readings):
            self._steps = [inf] * len(readings)
            return
        steps = self._steps
        for i, value in enumerate(readings):
            size = abs(value - before[i])
            if size > 0.0:
                self._changes += 1
                steps[i] = min(size, steps[i] * self._WIDENS)

    @property
    def widest(self) -> float:
        """The coarsest of them; 0 before any has been seen."""
        return max([size for size in self._steps if size < inf], default=0.0)

    @property
    def sure(self) -> float:
        """The coarsest of them, where it has been seen often: a figure that hardly moves shows no step; else 0."""
        return self.widest if self._changes >= self._SURE else 0.0
