"""Cumulative sums (Page, Biometrika 41, 1954; NIST/SEMATECH e-Handbook 6.3.2.3), and a bank for unknown shifts."""

from math import exp, expm1
from typing import NamedTuple

#: Siegmund's correction of the decision interval for the overshoot (Sequential Analysis, 1985; from memory)
_OVERSHOOT = 1.166


class Cusum:
    """A one-sided sum of what exceeds the reference value ``k``; both in the unit of the samples.

    ``S = max(0, S + x - k)``; beyond ``h`` it signals. ``since`` counts the samples since it was last zero:
    the most likely age of a shift; ``mean`` is the mean sample since then.
    """

    __slots__ = ("h", "k", "since", "sum")

    def __init__(self, k: float, h: float) -> None:
        self.k, self.h = k, h
        self.sum = 0.0
        self.since = 0

    def feed(self, sample: float) -> bool:
        """Take one sample; whether the sum is beyond the decision interval."""
        self.sum += sample - self.k
        if self.sum <= 0.0:
            self.sum = 0.0
            self.since = 0
            return False
        self.since += 1
        return self.sum > self.h

    @property
    def mean(self) -> float:
        """The mean of the samples since the sum was last zero; 0 while it is."""
        return self.sum / self.since + self.k if self.since else 0.0


def run_length(k: float, h: float, shift: float = 0.0) -> float:
    """Siegmund's approximation of the average run length of a one-sided sum; all in standard deviations."""
    drift, width = shift - k, h + _OVERSHOOT
    if abs(drift) < 1e-9:
        return width * width
    a = 2.0 * drift * width
    return (exp(-a) + a - 1.0) / (2.0 * drift * drift)


def interval_for(k: float, run: float) -> float:
    """The decision interval, in standard deviations, at which a sum with reference ``k`` runs ``run`` samples."""
    low, high = 0.0, 200.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if run_length(k, middle) < run:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


class Signal(NamedTuple):
    """Which way a bank signals, and since how many samples."""

    up: bool
    since: int


class Bank:
    """Sums for small, middling and large shifts at once, both ways: for a shift that nobody knows beforehand.

    Each chart's decision interval is set for ``run`` times as many samples as there are charts, so that the
    bank as a whole signals without cause once in ``run`` samples or more seldom (the union bound). Samples
    are in standard deviations.
    """

    #: a chart is optimal for a shift of twice its reference value (Moustakides 1986): these are for half a
    #: standard deviation, for one and for two
    REFERENCES = (0.25, 0.5, 1.0)

    __slots__ = ("_down", "_up")

    def __init__(self, run: float) -> None:
        each = run * 2 * len(self.REFERENCES)
        self._up = [Cusum(k, interval_for(k, each)) for k in self.REFERENCES]
        self._down = [Cusum(c.k, c.h) for c in self._up]

    def feed(self, sample: float) -> Signal | None:
        """Take one sample; the signal, or None while there is none."""
        signal = None
        for up, down in zip(self._up, self._down, strict=True):
            if up.feed(sample):
                signal = Signal(True, up.since)
            if down.feed(-sample):
                signal = Signal(False, down.since)
        return signal

    @property
    def fullness(self) -> float:
        """How far the fullest chart is towards its decision interval; 1 and above is a signal."""
        return max([c.sum / c.h for c in self._up] + [c.sum / c.h for c in self._down])

    def hold(self) -> None:
        """Keep a chart that has signalled from growing: what went up for hours need not take hours to come down."""
        for chart in self._up + self._down:
            chart.sum = min(chart.sum, 2.0 * chart.h)


def least_delay(shift: float, run: float) -> float:
    """The continuous-time optimum: no rule with mean time ``run`` to a false alarm is quicker at a worst case.

    Solves exp(v) - v - 1 = I·run with I = shift²/2 (Lorden 1971, Moustakides 1986); (exp(-v) + v - 1) / I.
    """
    information = 0.5 * shift * shift
    low, high = 0.0, 100.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        if expm1(middle) - middle < information * run:
            low = middle
        else:
            high = middle
    return (expm1(-low) + low) / information
