"""Whether what has come down as it warmed grows again: by how much over its least.

While a unit warms up its current may go down for many minutes, and what it comes down to is not known before. Whatever
that is, warming does not take it down and bring it back: only so much as is known of any unit's temperature
coefficient, its power up to what it has given before, and its supply explain a growth from the least.
"""

from math import inf

#: share of the newest value in the smoothed ones, and values before there is a least
_SMOOTH, _LEAST = 0.1, 8
#: colder than at its least by more than this, K, is another matter: what goes down as it warms goes up as it cools
_COLDER_K = 0.3


class Rebound:
    """Feed it the logarithms of a figure and of what explains it, at one drive.

    ``per_k`` is the part of the figure that a kelvin explains at the most, ``per_power`` and ``per_supply`` the same of
    the logarithms of power and supply.
    """

    __slots__ = ("_count", "_least", "_of", "_smooth", "_top_power")

    def __init__(self, *, per_k: float, per_power: float, per_supply: float) -> None:
        self._of = per_k, per_power, per_supply
        self._count = 0
        self._smooth = [0.0] * 4
        self._least = (inf, 0.0, 0.0, 0.0)
        self._top_power = -inf  # until the least

    def feed(self, ln_figure: float, heatsink_c: float, ln_power: float, ln_supply: float) -> float | None:
        """Take one value; how far it is over its least beyond what explains it, None where that is not told."""
        self._count += 1
        share = max(_SMOOTH, 1.0 / self._count)
        smooth = self._smooth
        for i, value in enumerate((ln_figure, heatsink_c, ln_power, ln_supply)):
            smooth[i] += (value - smooth[i]) * share
        if self._count < _LEAST:
            return None
        figure, heat_c, power, supply = smooth
        least, least_c, least_power, least_supply = self._least
        if figure < least:
            self._top_power = max(self._top_power, power)
            self._least = figure, heat_c, power, supply
            return 0.0
        if heat_c < least_c - _COLDER_K:
            return None
        per_k, per_power, per_supply = self._of
        return (
            figure
            - least
            - per_power * (min(power, self._top_power) - least_power)
            - per_k * max(heat_c - least_c, 0.0)
            - per_supply * abs(supply - least_supply)
        )
