"""Speech is never as loud as it was: what the current would have been at one loudness.

How the drain current goes with the root of the power is told within each key-down, and is this unit's own; how sure
that is, too. Where power is read late and between words it is hardly known, and says so.
"""

from math import inf

from alerts.estimators.covariance import Covariance, Shared
from alerts.estimators.slope import Line

#: a group of blocks is of one key-down, and of this time, s, at the most: what a minute changes is no loudness
_GROUP_S = 60.0
#: of the mean current, how much goes with the root of the power before any data: all of it in class B, none in class A
#: (textbook)
_PRIOR, _PRIOR_SD = 0.75, 0.25


class Loudness:
    """Feed it every block of speech."""

    __slots__ = ("_all", "_covariance", "_from_s", "_group", "_keyed_s", "shared", "usual", "usual_a")

    def __init__(self) -> None:
        self._covariance = Covariance()
        self._group, self._all = Line(), Line()
        self._keyed_s = self._from_s = 0.0
        self.shared: Shared | None = None  # A for each root of a watt
        self.usual = 0.0  # the loudness of what was first known, as the root of watts; it stays
        self.usual_a = 0.0  # the current at it, then

    def feed(self, keyed_s: float, total_a: float, root_w: float) -> None:
        """Take one block: how long the key has been down, s, the drain current, A, and the root of the power."""
        if not total_a + root_w < inf:
            return
        over = keyed_s < self._keyed_s or keyed_s - self._from_s > _GROUP_S
        if over and self._group.count > 1:
            self._covariance.feed(self._group)
            self._group = Line()
            self._tell()
        if not self._group.count:
            self._from_s = keyed_s
        self._keyed_s = keyed_s
        self._group.feed(root_w, total_a)
        self._all.feed(root_w, total_a)

    def level_a(self, total_a: float, root_w: float) -> float | None:
        """A current at the usual loudness, A; None while nothing compares."""
        return None if self.shared is None else total_a - self.shared.slope * (root_w - self.usual)

    def _tell(self) -> None:
        told, all_of_it = self._covariance.told, self._all
        if told is None or not min(all_of_it.mean_x, all_of_it.mean_y) > 0.0:
            return
        if self.shared is None:
            self.usual, self.usual_a = all_of_it.mean_x, all_of_it.mean_y
        ratio = all_of_it.mean_y / all_of_it.mean_x
        self.shared = told.given(_PRIOR * ratio, _PRIOR_SD * ratio)
