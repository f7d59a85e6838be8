"""The electro-thermal loop gain ``G = V·(∂I/∂T)·R``: at G ≥ 1 no steady state exists.

The criterion dP/dT < 1/R with P = V·I (Spirito, Breglio, d'Alessandro, Rinaldi, MIEL 2002). Two ways to it,
from data: how current moves with temperature at constant drive; the heating branch's pole against the cooling one's.
"""

from math import exp, inf, sqrt
from typing import NamedTuple

from alerts.estimators.recursive import Recursive
from alerts.estimators.slope import Line


class Gain(NamedTuple):
    """The loop gain and its standard deviation."""

    value: float
    sd: float

    @property
    def least(self) -> float:
        """The lower bound of a 95 % band, two standard deviations (JCGM 100, coverage factor 2)."""
        return self.value - 2.0 * self.sd


class CurrentGain:
    """G from how the current moves with the temperature at constant drive, times supply, times R.

    One point each is a mean over some tens of seconds. Whether temperature or mere time explains the current
    better is told apart, for a current that creeps by itself also warms the heatsink.
    """

    __slots__ = ("_time", "temperature")

    def __init__(self, memory_points: float = 6.0) -> None:
        keep = exp(-1.0 / memory_points)
        self.temperature = Line(keep=keep)
        self._time = Line(keep=keep)

    def feed(self, clock_s: float, heatsink_c: float, current_a: float) -> None:
        """Take one point."""
        self.temperature.feed(heatsink_c, current_a)
        self._time.feed(clock_s, current_a)

    @property
    def by_temperature(self) -> bool:
        """Whether temperature explains the current better than time does."""
        return self.temperature.sse <= self._time.sse

    def gain(self, supply_v: float, k_per_w: float, k_per_w_sd: float, noise_a: float) -> Gain | None:
        """The gain; ``noise_a`` is the standard deviation that a point has at the least. None before four points."""
        line = self.temperature
        if line.count < 4 or line.sxx <= 0.0:
            return None
        sd_a = max(line.residual_sd, noise_a)
        slope_sd = sd_a / sqrt(line.sxx)
        value = supply_v * line.slope * k_per_w
        return Gain(value, sqrt((supply_v * slope_sd * k_per_w) ** 2 + (supply_v * line.slope * k_per_w_sd) ** 2))


class Branch:
    """The pole of one heating or cooling branch, 1/s: ``dT/dt = a - pole·(T - T_first)`` at constant drive.

    Fitted on differences of block means, as the heat balance is. A negative pole is a temperature that runs away.
    """

    __slots__ = ("_before", "_block_s", "_first_c", "_last", "_loss_ks", "_n", "_rls", "_sums", "_time_s", "blocks")

    def __init__(self, block_s: float = 10.0) -> None:
        self._block_s = block_s
        self._rls = Recursive((0.0, 0.0), (10.0, 1.0), noise_sd=0.05, floor_sd=1e-4)
        self._first_c = inf
        self._last = (0.0, 0.0)
        self._before: tuple[float, float, float] | None = None
        self._loss_ks = self._time_s = 0.0
        self._sums = [0.0, 0.0, 0.0]
        self._n = 0
        self.blocks = 0

    def feed(self, clock_s: float, heatsink_c: float) -> None:
        """Take one sample of the branch."""
        if self._first_c == inf:
            self._first_c = heatsink_c
            self._last = (clock_s, 0.0)
            return
        over_k = heatsink_c - self._first_c
        dt_s = clock_s - self._last[0]
        self._loss_ks += 0.5 * (over_k + self._last[1]) * dt_s
        self._time_s += dt_s
        self._last = (clock_s, over_k)
        sums = self._sums
        sums[0] += over_k
        sums[1] += self._loss_ks
        sums[2] += self._time_s
        self._n += 1
        if self._time_s < self._block_s or self._n < 3:
            return
        t, loss, time = (s / self._n for s in sums)
        if self._before is not None:
            self._rls.learn((time - self._before[2], self._before[1] - loss), t - self._before[0])
            self.blocks += 1
        self._before = (t, loss - self._loss_ks, time - self._time_s)
        self._loss_ks = self._time_s = 0.0
        self._sums = [0.0, 0.0, 0.0]
        self._n = 0

    @property
    def pole(self) -> tuple[float, float]:
        """The pole, 1/s, and its standard deviation."""
        return self._rls.theta[1], sqrt(self._rls.covariance[1][1])


def gain_from_poles(heating: tuple[float, float], cooling: tuple[float, float]) -> Gain | None:
    """``G = 1 - heating / cooling``, each a pole with its standard deviation; None where the cooling pole is unsure.

    From ``C·dT/dt = P_0 - (1 - G)(T - T_A)/R``; while cooling there is no current, so G = 0 by nature.
    """
    (hot, hot_sd), (cold, cold_sd) = heating, cooling
    if not cold > 3.0 * cold_sd:
        return None
    ratio = hot / cold
    return Gain(1.0 - ratio, sqrt((hot_sd / cold) ** 2 + (ratio * cold_sd / cold) ** 2))
