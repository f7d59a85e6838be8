"""The electro-thermal loop gain ``G = V·(∂I/∂T)·R``: at G ≥ 1 no steady state exists.

The criterion dP/dT < 1/R with P = V·I (Spirito, Breglio, d'Alessandro, Rinaldi, MIEL 2002), from how the current moves
with temperature at constant drive. ``curvature`` has the other way to it, which needs no R.
"""

from collections import deque
from math import exp, sqrt
from typing import NamedTuple

from alerts.estimators.slope import Line

#: standard deviations that a gain's lower bound lies under it
_SURE = 4.0


class Gain(NamedTuple):
    """The loop gain, its standard deviation, and its lower bound."""

    value: float
    sd: float
    least: float


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

    @property
    def count(self) -> int:
        """How many points are remembered."""
        return len(self._points)

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
    """``V·(∂I/∂T)·R`` with its standard deviation.

    The lower bound is of four standard deviations, for many slopes are looked at in a soak, and none may be chance:
    of both together, or of each, where no R is taken to be 0 or less however little is known of it.
    """
    value = supply_v * slope.a_per_k * k_per_w
    sd = sqrt((supply_v * slope.sd * k_per_w) ** 2 + (supply_v * slope.a_per_k * k_per_w_sd) ** 2)
    each = supply_v * (slope.a_per_k - _SURE * slope.sd) * k_per_w * exp(-_SURE * k_per_w_sd / k_per_w)
    return Gain(value, sd, max(value - _SURE * sd, each))
