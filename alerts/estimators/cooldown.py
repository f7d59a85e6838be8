"""Does a heatsink cool down when its heat is gone?

Without heat it falls to the air, ``(T_0 - T_A)·e^(-t/τ)``; a fan that stops makes τ longer by the factor that forced
air made it shorter. A chassis that still holds heat may turn the fall round for a while, but not before it has begun.
So what stays from the first is no temperature, however it flickers. How far it must fall is told twice: by the warmest
that the air may be, and, whatever the air is, by the least that its heat can have held it over the air.
"""

from math import exp, inf

#: so much longer than it was learned τ may be at rest, and this part of the fall that must be seen at the least
_SLOWER, _SEEN = 3.0, 0.15
#: the fall that must have come, K, and where its heat has held it over its air by so much, K; rest before it counts,
#: s; and the part of the usual heat that is none
_TELLS_K, _HELD_TELLS_K, _HELD_K, _FROM_S, _NONE = 2.0, 1.0, 0.5, 60.0, 0.03


class Cooldown:
    """Feed it block means at rest and keyed; ``lost`` says that the fall has not come, ``due_k`` how much was due."""

    __slots__ = ("_held_k", "_rest_s", "_start_c", "due_k", "lost")

    def __init__(self) -> None:
        self._rest_s = 0.0
        self._start_c = self._held_k = 0.0
        self.due_k = 0.0
        self.lost = False

    def feed(
        self,
        seconds: float,
        heatsink_c: float,
        watt: float,
        *,
        keyed_w: float,
        warmest_air_c: float,
        tau_s: float,
        held_k: float = 0.0,
        held_s: float = inf,
    ) -> None:
        """Take one block; ``warmest_air_c`` is no less than what the air may have, ``keyed_w`` the usual heat.

        ``held_k`` is no more than what its heat so far holds it over the air by, with the time constant ``held_s`` of
        such a cooling: where it is cooled less well it stands higher and falls no less, since R·(1 - e^(-t/RC)) grows
        with R.
        """
        if watt > _NONE * keyed_w:
            self._rest_s = 0.0
            self.lost = False
            return
        if self._rest_s < _FROM_S:
            # heat is still on its way: the warmest that it becomes
            self._start_c = max(heatsink_c, self._start_c) if self._rest_s else heatsink_c
            self._held_k = max(held_k, self._held_k) if self._rest_s else held_k
        self._rest_s += seconds
        rest_s = max(self._rest_s - _FROM_S, 0.0) / _SLOWER
        by_air_k = (self._start_c - warmest_air_c) * (1.0 - exp(-rest_s / tau_s))
        by_heat_k = self._held_k * (1.0 - exp(-rest_s / held_s))
        self.due_k = max(by_air_k, by_heat_k)
        tells = self.due_k > (_HELD_TELLS_K if self._held_k > _HELD_K else _TELLS_K)
        self.lost = tells and self._start_c - heatsink_c < _SEEN * self.due_k
