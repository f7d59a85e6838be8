"""The electro-thermal loop gain ``G = V·(∂I/∂T)·R``: at G ≥ 1 no steady state exists.

The criterion dP/dT < 1/R with P = V·I (Spirito, Breglio, d'Alessandro, Rinaldi, MIEL 2002). Two ways to it,
from data: how current moves with temperature at constant drive; the heating branch's pole against the cooling one's.
"""

from collections import deque
from math import inf, sqrt
from typing import NamedTuple

from alerts.estimators.recursive import Recursive
from alerts.estimators.slope import Line


class Gain(NamedTuple):
    """The loop gain and its standard deviation."""

    value: float
    sd: float

    @property
    def least(self) -> float:
        """The lower bound, four standard deviations: many slopes are looked at in a soak, and none may be chance."""
        return self.value - 4.0 * self.sd


class Slope(NamedTuple):
    """How the current moves with the temperature over the newest points: A/K, its sd, and what explains it better."""

    a_per_k: float
    sd: float
    spread_k: float  # standard deviation of the temperatures
    by_temperature: float  # residuals against temperature over those against time: under 1, temperature explains more


class CurrentGain:
    """G from how the current moves with the temperature at constant drive, times supply, times R.

    One point each is a mean over some tens of seconds. The newest 4, 6, 9 ... 48 points are fitted apart, so that
    what the unit did before a fault does not hide it. A current that creeps by itself also warms the heatsink: whether
    temperature or mere time explains it better is told by ``by_temperature``.
    """

    WINDOWS = (4, 6, 9, 13, 18, 24, 34, 48)

    __slots__ = ("_points",)

    def __init__(self) -> None:
        self._points: deque[tuple[float, float, float]] = deque(maxlen=self.WINDOWS[-1])

    def feed(self, clock_s: float, heatsink_c: float, current_a: float) -> None:
        """Take one point."""
        self._points.append((clock_s, heatsink_c, current_a))

    def slopes(self, noise_a: float) -> list[Slope]:
        """One slope a window that is full; ``noise_a`` is the standard deviation that a point has at the least."""
        newest = list(self._points)[::-1]
        found = []
        heat, time = Line(), Line()
        for n, (clock_s, heatsink_c, current_a) in enumerate(newest, start=1):
            heat.feed(heatsink_c, current_a)
            time.feed(clock_s, current_a)
            if n not in self.WINDOWS or heat.sxx <= 0.0:
                continue
            sd_a = max(heat.residual_sd, noise_a)
            floor = noise_a * noise_a
            found.append(
                Slope(
                    heat.slope,
                    sd_a / sqrt(heat.sxx),
                    sqrt(heat.sxx / n),
                    (heat.sse + floor) / (time.sse + floor),
                )
            )
        return found


def gain_of(slope: Slope, supply_v: float, k_per_w: float, k_per_w_sd: float) -> Gain:
    """``V·(∂I/∂T)·R`` with its standard deviation."""
    value = supply_v * slope.a_per_k * k_per_w
    sd = sqrt((supply_v * slope.sd * k_per_w) ** 2 + (supply_v * slope.a_per_k * k_per_w_sd) ** 2)
    return Gain(value, sd)


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
