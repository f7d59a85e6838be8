"""Does a heatsink cool down when its heat is gone?

Without heat it falls to the air, ``(T_0 - T_A)·e^(-t/τ)``; a fan that stops makes τ longer by the factor that forced
air made it shorter. A chassis that still holds heat may turn the fall round for a while, but not before it has begun.
So what stays from the first is no temperature, however it flickers.
"""

from math import exp

#: so much longer than it was learned τ may be at rest, and this part of the fall that must be seen at the least
_SLOWER, _SEEN = 3.0, 0.15
#: the fall that must have come, K; rest before it is counted, s; and the part of the usual heat that is none
_TELLS_K, _FROM_S, _NONE = 2.0, 60.0, 0.03


class Cooldown:
    """Feed it block means at rest and keyed; ``lost`` says that the fall has not come, ``due_k`` how much was due."""

    __slots__ = ("_rest_s", "_start_c", "due_k", "lost")

    def __init__(self) -> None:
        self._rest_s = 0.0
        self._start_c = 0.0
        self.due_k = 0.0
        self.lost = False

    def feed(
        self, seconds: float, heatsink_c: float, watt: float, *, keyed_w: float, warmest_air_c: float, tau_s: float
    ) -> None:
        """Take one block; ``warmest_air_c`` is no less than what the air may have, ``keyed_w`` the usual heat."""
        if watt > _NONE * keyed_w:
            self._rest_s = 0.0
            self.lost = False
            return
        if self._rest_s < _FROM_S:
            # heat is still on its way: the warmest that it becomes
            self._start_c = max(heatsink_c, self._start_c) if self._rest_s else heatsink_c
        self._rest_s += seconds
        left = exp(-max(self._rest_s - _FROM_S, 0.0) / (_SLOWER * tau_s))
        self.due_k = (self._start_c - warmest_air_c) * (1.0 - left)
        self.lost = self.due_k > _TELLS_K and self._start_c - heatsink_c < _SEEN * self.due_k
