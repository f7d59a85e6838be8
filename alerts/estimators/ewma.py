"""Exponentially weighted moving average with its control limits (NIST/SEMATECH e-Handbook 6.3.2.4)."""

from math import sqrt


class Ewma:
    """``value`` follows the samples; ``sd_factor`` is its standard deviation in those of one sample.

    ``share`` (lambda) is the weight of the newest sample.
    """

    __slots__ = ("_gone", "_share", "value")

    def __init__(self, share: float, start: float) -> None:
        self._share = share
        self._gone = 1.0
        self.value = start

    def feed(self, sample: float) -> float:
        """Take one sample; the new average."""
        self.value += self._share * (sample - self.value)
        self._gone *= (1.0 - self._share) ** 2
        return self.value

    @property
    def sd_factor(self) -> float:
        """Of the average after the samples so far: sqrt(share / (2 - share) * (1 - (1 - share)**(2 i)))."""
        return sqrt(self._share / (2.0 - self._share) * (1.0 - self._gone))


def settled_sd_factor(share: float) -> float:
    """What ``sd_factor`` goes to: sqrt(share / (2 - share))."""
    return sqrt(share / (2.0 - share))
