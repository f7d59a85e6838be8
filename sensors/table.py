"""Straight lines between the points of a calibration table; nothing beyond its ends."""

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from itertools import pairwise

from sensors.errors import ConversionUnfit


def between(xs: Sequence[float], ys: Sequence[float]) -> Callable[[float], float]:
    """A function of x that runs through all points, and is nan outside the first and last.

    ``xs`` must rise from point to point; raises ConversionUnfit where they don't, or with fewer than two points.
    """
    if len(xs) < 2:
        raise ConversionUnfit("table", "needs at least two points")
    if any(b <= a for a, b in pairwise(xs)):
        raise ConversionUnfit("table", "two of its points are the same, or out of order")
    low, high = xs[0], xs[-1]
    x_at, y_at = tuple(xs[:-1]), tuple(ys[:-1])
    slopes = tuple((ys[i + 1] - ys[i]) / (xs[i + 1] - xs[i]) for i in range(len(xs) - 1))
    inner = tuple(xs[1:-1])
    last_y = ys[-1]

    def at(x: float) -> float:
        if low <= x < high:
            i = bisect_right(inner, x)
            return y_at[i] + (x - x_at[i]) * slopes[i]
        return last_y if x == high else math.nan

    return at
