"""Recursive least squares for a handful of parameters, with a prior, forgetting and bounded influence."""

from collections.abc import Sequence
from math import sqrt

#: residuals beyond this many standard deviations count no more than at it (Huber, Robust Statistics, 1981)
HUBER = 3.0


class Recursive:
    """Bayesian linear regression ``y = x·theta + noise``, one observation at a time.

    ``prior_sd`` is how far each parameter may lie from ``mean`` before any data. ``noise_sd`` is the noise's
    first guess; from then on it is tracked from the fit's own residuals and never falls under ``floor_sd``.
    ``keep`` is the share of the old information that is kept at each observation; what the data do not
    excite is forgotten no further than back to the prior.
    """

    __slots__ = ("_floor", "_keep", "_n", "_prior", "_size", "count", "covariance", "noise_sd", "theta")

    def __init__(
        self,
        mean: Sequence[float],
        prior_sd: Sequence[float],
        *,
        noise_sd: float,
        floor_sd: float = 0.0,
        keep: float = 1.0,
    ) -> None:
        self._size = len(mean)
        self.theta = list(mean)
        self._prior = [sd * sd for sd in prior_sd]
        self.covariance = [[v if i == j else 0.0 for j in range(self._size)] for i, v in enumerate(self._prior)]
        self.noise_sd = noise_sd
        self._floor = floor_sd
        self._keep = keep
        self.count = 0
        self._n = 0.0

    def predict(self, x: Sequence[float]) -> tuple[float, float]:
        """The expected value at ``x`` and the standard deviation of its mean (without the noise)."""
        mean = 0.0
        variance = 0.0
        for i, row in enumerate(self.covariance):
            a = x[i]
            mean += a * self.theta[i]
            for j, c in enumerate(row):
                variance += a * x[j] * c
        return mean, sqrt(max(variance, 0.0))

    def learn(self, x: Sequence[float], y: float, weight: float = 1.0) -> float:
        """Take one observation; ``weight`` is its information against an ordinary one. Returns the residual."""
        size = self._size
        p = self.covariance
        if self._keep < 1.0:
            self._forget()
        px = [sum([p[i][j] * x[j] for j in range(size)]) for i in range(size)]
        spread = max(sum([x[i] * px[i] for i in range(size)]), 0.0)  # rounding may take it under
        residual = y - sum([x[i] * self.theta[i] for i in range(size)])
        noise = self.noise_sd * self.noise_sd
        sd = sqrt(spread + noise)
        far = abs(residual) / sd
        influence = min(1.0, HUBER / far) if far > 0.0 else 1.0
        gain = 1.0 / (spread + noise / (weight * influence))
        for i in range(size):
            self.theta[i] += px[i] * gain * residual
        for i in range(size):
            for j in range(i, size):
                p[i][j] -= px[i] * px[j] * gain
                p[j][i] = p[i][j]
            p[i][i] = max(p[i][i], 0.0)
        self.count += 1
        self._track_noise(residual * influence, spread, noise)
        return residual

    def _track_noise(self, residual: float, spread: float, noise: float) -> None:
        # The expected square of a residual is noise + spread, so only noise's part of it is taken. The first
        # guess weighs as much as eight observations; the memory is a hundred.
        self._n = min(self._n + 1.0, 92.0)
        share = noise / (noise + spread)
        noise += (residual * residual * share - noise) / (8.0 + self._n)
        self.noise_sd = max(sqrt(noise), self._floor)

    def _forget(self) -> None:
        p, keep = self.covariance, self._keep
        scale = [min(1.0 / keep, v / p[i][i]) if p[i][i] > 0.0 else 1.0 for i, v in enumerate(self._prior)]
        root = [sqrt(max(s, 1.0)) for s in scale]
        for i in range(self._size):
            for j in range(self._size):
                p[i][j] *= root[i] * root[j]
