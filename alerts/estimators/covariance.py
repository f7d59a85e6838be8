"""Means of groups at one and the same value of a covariate: the analysis of covariance (Fisher 1932).

All groups share one slope, which is told by how their members differ within each group; what a group's mean would be
at another value of the covariate follows from it. What members are off by the lines of their groups is their noise.
"""

from math import inf, sqrt
from typing import NamedTuple

from alerts.estimators.slope import Line

#: fewer degrees of freedom tell no noise: by chance, a few members agree
_LEAST_FREE = 6
#: a group's standard deviation counts for no more than so many times that of those before
_FAR = 2.0


class Shared(NamedTuple):
    """What groups share: a slope, its standard deviation, and that of a member about its group's line."""

    slope: float
    slope_sd: float
    noise_sd: float

    def given(self, slope: float, slope_sd: float) -> "Shared":
        """With what was known of the slope before any data, each by its weight (normal, conjugate; any textbook)."""
        mine, before = self.slope_sd**-2 if self.slope_sd > 0.0 else inf, slope_sd**-2
        if mine == inf:
            return self
        return Shared((mine * self.slope + before * slope) / (mine + before), (mine + before) ** -0.5, self.noise_sd)


class Covariance:
    """The slope that all groups share, and the noise of one member; a sum over groups, in constant memory."""

    __slots__ = ("_free", "_sxx", "_sxy", "_syy")

    def __init__(self) -> None:
        self._sxx = self._sxy = self._syy = 0.0
        self._free = -1.0  # degrees of freedom: one a member, but for one a group and one for the slope

    def feed(self, group: Line) -> None:
        """Take one whole group: a line through its members, ``x`` the covariate.

        A group that is much further off than those before has its influence bounded: something goes on within it.
        """
        free, slope, weight = group.count - 1, self._slope, 1.0
        off2 = group.syy - 2.0 * slope * group.sxy + slope * slope * group.sxx
        most2 = _FAR**2 * self._noise2 * free
        if off2 > most2 > 0.0:
            weight = most2 / off2
        self._free += weight * free
        self._sxx += weight * group.sxx
        self._sxy += weight * group.sxy
        self._syy += weight * group.syy

    @property
    def _slope(self) -> float:
        return self._sxy / self._sxx if self._sxx > 0.0 else 0.0

    @property
    def _noise2(self) -> float:
        return max(self._syy - self._slope * self._sxy, 0.0) / self._free if self._free >= _LEAST_FREE else inf

    @property
    def told(self) -> Shared | None:
        """What all groups so far tell, None while they are too few; a covariate that never moves tells no slope."""
        noise2 = self._noise2
        if noise2 == inf:
            return None
        return Shared(self._slope, sqrt(noise2 / self._sxx) if self._sxx > 0.0 else inf, sqrt(noise2))
