"""Has the rise over the air, for each watt, collapsed: further than any air could take it?

While heat flows a heatsink's rise never passes ``R`` times the most that it was heated with, so what it has been for
each of those watts is a lower bound of R, whatever the heatsink is made of and however long it is still on its way;
and forced air takes R to a quarter at the least.
"""

#: what it must have risen by follows its heat with this time constant, s, slower than a heatsink in forced air
_ARRIVES_S = 400.0
#: how much better forced air cools than still air (two to three times, four at the most; common practice, no source)
_FORCED = 4.0
#: heat flows where it is this part of what has arrived
_FLOWS = 0.5
#: the rise that must have been there, K: with the air measured, and with air that may move by some kelvin unseen
_TOLD_K, _TOLD_BLIND_K = 5.0, 8.0
#: a smaller rise, K, may be the room's, and is little over next to nothing
_RISEN_K = 3.0
#: for so long it must be under what forced air could leave of it, s of flowing heat
_LASTS_S = 60.0


class Collapse:
    """Feed it block means; ``k_per_w`` is the lower bound of the thermal resistance to the air so far, K/W."""

    __slots__ = ("_arrived_w", "_before_k", "_low_s", "_most_w", "_newest_w", "k_per_w")

    def __init__(self) -> None:
        self._most_w = self._arrived_w = self._low_s = self._before_k = 0.0
        self._newest_w = (0.0, 0.0)
        self.k_per_w = 0.0

    def feed(self, seconds: float, least_k: float, most_k: float, dissipation_w: float, *, air_known: bool) -> bool:
        """Take one block: the rise over the warmest and over the coldest air that there can be, K; True when lost."""
        self._arrived_w += (dissipation_w - self._arrived_w) * min(seconds / _ARRIVES_S, 1.0)
        older_w, old_w = self._newest_w
        self._newest_w = (old_w, dissipation_w)
        # one block with a spike in it is not the most; but what a block rose by is no more than both its heats made
        self._most_w = max(self._most_w, sorted((older_w, old_w, dissipation_w))[1])
        # a rise of which no heat was ever measured (warm from before, no supply read) tells no resistance
        if self._before_k > _RISEN_K and (heat_w := max(self._most_w, old_w, dissipation_w)) > 0.0:
            self.k_per_w = max(self.k_per_w, self._before_k / heat_w)
        self._before_k = least_k
        if dissipation_w > _FLOWS * self._arrived_w:
            had_k = self.k_per_w * self._arrived_w
            told = had_k > (_TOLD_K if air_known else _TOLD_BLIND_K)
            self._low_s = self._low_s + seconds if told and most_k < had_k / _FORCED else 0.0
        return self._low_s >= _LASTS_S
