"""A straight line through a stream of points: least squares, with forgetting and bounded influence if asked."""

from math import inf, sqrt


class Line:
    """``y = intercept + slope·x`` by weighted least squares in centred sums (Norris, NIST StRD, is met).

    ``keep`` is the share of old points' weight kept at each new one. ``huber`` bounds the influence of a point
    that lies further than so many residual standard deviations from the line so far; ``inf`` is plain least
    squares.
    """

    __slots__ = ("_huber", "_keep", "count", "mean_x", "mean_y", "sxx", "sxy", "syy", "weight")

    def __init__(self, *, keep: float = 1.0, huber: float = inf) -> None:
        self._keep, self._huber = keep, huber
        self.count = 0
        self.weight = self.mean_x = self.mean_y = self.sxx = self.sxy = self.syy = 0.0

    def feed(self, x: float, y: float) -> None:
        """Take one point."""
        weight = 1.0
        if self._huber < inf and self.count > 4:
            sd = self.residual_sd
            off = abs(y - self.at(x))
            if off > self._huber * sd > 0.0:
                weight = self._huber * sd / off
        keep = self._keep
        if keep < 1.0:
            self.weight *= keep
            self.sxx *= keep
            self.sxy *= keep
            self.syy *= keep
        self.count += 1
        self.weight += weight
        dx, dy = x - self.mean_x, y - self.mean_y
        share = weight / self.weight
        self.mean_x += dx * share
        self.mean_y += dy * share
        rest = weight * (1.0 - share)
        self.sxx += rest * dx * dx
        self.sxy += rest * dx * dy
        self.syy += rest * dy * dy

    @property
    def slope(self) -> float:
        """In units of y per unit of x; 0 before two different x."""
        return self.sxy / self.sxx if self.sxx > 0.0 else 0.0

    @property
    def intercept(self) -> float:
        """Of the line at x = 0."""
        return self.mean_y - self.slope * self.mean_x

    def at(self, x: float) -> float:
        """The line at ``x``."""
        return self.mean_y + self.slope * (x - self.mean_x)

    @property
    def sse(self) -> float:
        """The weighted sum of squared residuals."""
        return max(self.syy - self.slope * self.sxy, 0.0)

    @property
    def residual_sd(self) -> float:
        """Standard deviation of the points about the line; 0 before three points."""
        return sqrt(self.sse / (self.weight - 2.0)) if self.weight > 2.0 else 0.0

    @property
    def slope_sd(self) -> float:
        """Standard deviation of the slope; ``inf`` before there can be one."""
        return self.residual_sd / sqrt(self.sxx) if self.sxx > 0.0 and self.weight > 2.0 else inf

    @property
    def intercept_sd(self) -> float:
        """Standard deviation of the intercept."""
        if not (self.sxx > 0.0 and self.weight > 2.0):
            return inf
        return self.residual_sd * sqrt(1.0 / self.weight + self.mean_x * self.mean_x / self.sxx)
