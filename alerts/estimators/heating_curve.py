"""The heating curve ``T(t) = T_0 + rise·(1 - exp(-rate·t))``: NIST StRD Misra1a and BoxBOD are the same model."""

from collections.abc import Callable, Sequence
from math import exp, inf, sqrt
from typing import NamedTuple

#: points kept of one curve; beyond it every other one is let go, so that a day's curve costs no more
ROOM = 64


class CurveFit(NamedTuple):
    """Rise (in y's unit) and rate (per x's unit) with their standard deviations; tau = 1 / rate."""

    rise: float
    rate: float
    rise_sd: float
    rate_sd: float
    residual_sd: float


class HeatingCurve:
    """Keeps one curve in bounded memory; ``fit`` when somebody asks."""

    __slots__ = ("_every", "_points", "_skip")

    def __init__(self) -> None:
        self._points: list[tuple[float, float]] = []
        self._every = 1
        self._skip = 0

    def feed(self, x: float, y: float) -> None:
        """Take a point: time since the curve began, and rise above its beginning."""
        self._skip += 1
        if self._skip < self._every:
            return
        self._skip = 0
        self._points.append((x, y))
        if len(self._points) >= ROOM:
            del self._points[::2]
            self._every *= 2

    def fit(self) -> CurveFit | None:
        """The fit of what was kept, None where the points show no bend."""
        if len(self._points) < 4:
            return None
        return fit([p[0] for p in self._points], [p[1] for p in self._points])


def fit(x: Sequence[float], y: Sequence[float]) -> CurveFit | None:
    """Least squares of ``y = rise·(1 - exp(-rate·x))``; None when no bend can be found within the span.

    The rise is linear once the rate is known, so only the rate is searched for (Golub & Pereyra 1973): a scan
    over four decades about 1 / span, then Newton's method on the derivative. It has no start to be unlucky with.
    """
    span = max(x)
    if span <= 0.0:
        return None
    grid = [10.0 ** (0.1 * i - 2.5) / span for i in range(46)]
    sums = [_sse(x, y, b)[0] for b in grid]
    best = min(range(len(grid)), key=sums.__getitem__)
    if best in (0, len(grid) - 1):
        return None
    rate = _minimum(lambda b: _sse(x, y, b)[0], grid[best - 1], grid[best + 1])
    rate = _polish(x, y, rate)
    sse, rise = _sse(x, y, rate)
    freedom = len(x) - 2
    # covariance s²(JᵀJ)⁻¹ of the two parameters, J = (df/d rise, df/d rate)
    a = b = c = 0.0
    for u in x:
        e = exp(-rate * u)
        j1, j2 = 1.0 - e, rise * u * e
        a, b, c = a + j1 * j1, b + j1 * j2, c + j2 * j2
    determinant = a * c - b * b
    variance = sse / freedom if freedom > 0 else inf
    if determinant <= 0.0:
        return None
    return CurveFit(rise, rate, sqrt(variance * c / determinant), sqrt(variance * a / determinant), sqrt(variance))


def _sse(x: Sequence[float], y: Sequence[float], rate: float) -> tuple[float, float]:
    shape = [1.0 - exp(-rate * u) for u in x]
    rise = sum([s * v for s, v in zip(shape, y, strict=True)]) / sum([s * s for s in shape])
    return sum([(v - rise * s) ** 2 for s, v in zip(shape, y, strict=True)]), rise


def _minimum(f: Callable[[float], float], low: float, high: float) -> float:
    golden = (sqrt(5.0) - 1.0) / 2.0
    for _ in range(40):
        step = golden * (high - low)
        if f(high - step) < f(low + step):
            high = low + step
        else:
            low = high - step
    return 0.5 * (low + high)


def _polish(x: Sequence[float], y: Sequence[float], rate: float) -> float:
    # A search by values alone stops at the root of the rounding error; Gauss-Newton steps on both parameters finish.
    rise = _sse(x, y, rate)[1]
    for _ in range(20):
        a = b = c = p = q = 0.0
        for u, v in zip(x, y, strict=True):
            e = exp(-rate * u)
            j1, j2 = 1.0 - e, rise * u * e
            r = v - rise * j1
            a, b, c, p, q = a + j1 * j1, b + j1 * j2, c + j2 * j2, p + j1 * r, q + j2 * r
        determinant = a * c - b * b
        if determinant <= 0.0:
            break
        rise += (c * p - b * q) / determinant
        rate += (a * q - b * p) / determinant
    return rate
