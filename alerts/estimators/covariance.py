"""Means of groups at one and the same value of a covariate: the analysis of covariance (Fisher 1932).

All groups share one slope, which is told by how their members differ within each group; what a group's mean would be
at another value of the covariate follows from it. What members are off by the lines of their groups is their noise.
"""

from math import inf, sqrt

from alerts.estimators.slope import Line

#: fewer degrees of freedom tell no noise: by chance, a few members agree
_LEAST_FREE = 6
#: a group's standard deviation counts for no more than so many times that of those before
_FAR = 2.0


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
        free, slope, weight = group.count - 1, self.slope, 1.0
        off2 = group.syy - 2.0 * slope * group.sxy + slope * slope * group.sxx
        most2 = (_FAR * self.residual_sd) ** 2 * free
        if off2 > most2 > 0.0:
            weight = most2 / off2
        self._free += weight * free
        self._sxx += weight * group.sxx
        self._sxy += weight * group.sxy
        self._syy += weight * group.syy

    @property
    def slope(self) -> float:
        """In units of y per unit of the covariate; 0 where the covariate has not moved within any group."""
        return self._sxy / self._sxx if self._sxx > 0.0 else 0.0

    @property
    def residual_sd(self) -> float:
        """Standard deviation of a member about its group's line; ``inf`` while there are too few to tell."""
        if self._free < _LEAST_FREE:
            return inf
        return sqrt(max(self._syy - self.slope * self._sxy, 0.0) / self._free)

    @property
    def slope_sd(self) -> float:
        """Standard deviation of the slope; ``inf`` before there can be one, 0 where the covariate stands still."""
        if self._sxx <= 0.0:
            return 0.0
        return self.residual_sd / sqrt(self._sxx)
