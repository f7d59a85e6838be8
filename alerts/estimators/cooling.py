"""How well the heatsink gives its heat to the air now, in W/K, and whether it ever did better.

The heat balance's R is an average over its memory; a fan that stops changes it at once. Given the heat capacity, which
no fan changes, the conductance over one window is ``(energy in - C·ΔT) / integral of (T - T_A)``. A window begins and
ends at the same moment of the key's cycle, so that what is still on its way through cases and sensor cancels.
"""

from collections import deque
from math import inf, nan, sqrt
from typing import NamedTuple

#: how long after a key edge the heat's way to the sensor no longer matters, s (cases and sensors: some ten seconds)
_SETTLED_S = 45.0
_LEAST_S = 60.0
#: under this rise over the air a conductance says nothing
_LEAST_RISE_K = 3.0
_SMOOTH_S = 4.0
#: width and number of the temperature bins in which the worst cooling is remembered, from -20 °C
_BIN_K, _BINS, _FROM_C = 2.0, 80, -20.0
#: what is newer than this teaches nothing yet
_DELAY_S = 240.0
#: nor does a window whose conductance is known no better than within this part of it
_TEACHES = 0.2
#: cooling that was better than now by this factor, at no higher temperature, means that something has changed
_BETTER = 1.5
#: and cooling better by this factor than it ever was, for so many windows running, is no fan's doing: forced air is
#: two to three times still air, four at the most (common practice, no source)
_LEAP, _LEAPS = 4.0, 2
#: nor is it a lost sensor's while it still warms up by more than this over the window, K
_WARMS_K = 0.3
#: and better by this factor it may be one: until it has lasted, nothing is learned from it
_DOUBT = 2.5
#: after a change of heat the near part of a heatsink, its far part and the chassis even out over some minutes, s, and
#: so much of the change is on its way between them: one temperature tells less of the stored heat by that
_EVENS_S, _ON_ITS_WAY = 240.0, 0.3
#: and under this part of the most heat that it has had, as means over that time, what it gives off is what its chassis
#: still holds, which no window sees
_LEAST_HEAT = 0.35
#: the heat of the last seconds, s
_FAST_S = 15.0
#: a window over more than one cycle of the key tells of no one temperature, s
_MOST_S = 600.0
#: and within this factor of now it counts as the same
_SAME = 1.15


class Window(NamedTuple):
    """One window's conductance, its standard deviation, and when, how hot and how loaded it was."""

    clock_s: float
    w_per_k: float
    sd: float
    heatsink_c: float
    dissipation_w: float


class Mark(NamedTuple):
    """Where a window starts: s, Cel, J and K·s so far, and how far the energy may be off between samples, J²."""

    clock_s: float
    heatsink_c: float
    energy_j: float
    loss_ks: float
    energy_var: float


class Cooling:
    """Feed it every frame; ``now`` is the newest conductance, ``worse`` whether the unit has been cooled better before.

    ``worse`` is meant for a heatsink with a thermostatic fan too: cooling that is worse now than it was at a lower
    temperature, at a temperature at which it has never been so bad before, is not a thermostat at work.
    ``leapt`` is cooling beyond belief: what is read is no longer the heatsink's temperature; ``doubt`` says that it may
    be so.
    """

    __slots__ = (
        "_best",
        "_edge",
        "_energy_j",
        "_energy_var",
        "_fast_w",
        "_key_s",
        "_keyed",
        "_last",
        "_leaps",
        "_least_r",
        "_line",
        "_loss_ks",
        "_most_w",
        "_room",
        "_settled",
        "_slow_w",
        "_smooth_c",
        "_worst",
        "doubt",
        "leapt",
        "now",
        "worse",
    )

    def __init__(self) -> None:
        self._last: tuple[float, float, float] | None = None
        self._smooth_c = nan
        self._keyed = False
        self._key_s = -inf
        self._slow_w = self._most_w = 0.0
        self._energy_j = self._loss_ks = self._energy_var = self._fast_w = 0.0
        self._edge: Mark | None = None
        self._settled: Mark | None = None
        self._line: deque[Window] = deque()
        self._best = [0.0] * _BINS
        self._worst = [inf] * _BINS
        self.now: Window | None = None
        self.worse = False
        self._leaps = 0
        self._least_r, self._room = 0.0, 1.0
        self.leapt = self.doubt = False

    def feed(
        self,
        clock_s: float,
        heatsink_c: float,
        dissipation_w: float,
        air_c: float,
        *,
        keyed: bool,
        capacity: float,
        blind: float = 0.0,
        least_r: float = 0.0,
    ) -> bool:
        """Take one sample; ``capacity`` in J/K, nan while it is not known. True when a window was closed.

        ``blind`` is how far, as a part of it, a conductance may be wrong because the air is not measured, ``inf`` where
        it can't be compared with others; ``least_r`` is a lower bound of the thermal resistance so far, K/W, 0 where
        there is none.
        """
        self._least_r, self._room = least_r, 1.0 + 2.0 * blind
        last = self._last
        if last is None or not 0.0 < clock_s - last[0] <= 10.0:
            self._begin(clock_s, heatsink_c, dissipation_w, air_c, keyed)
            return False
        dt_s = clock_s - last[0]
        over_k = heatsink_c - air_c
        self._energy_j += 0.5 * (dissipation_w + last[1]) * dt_s
        if keyed is self._keyed:
            # between two samples nobody knows: speech is another at each
            self._energy_var += 0.5 * ((dissipation_w - last[1]) * dt_s) ** 2
        self._loss_ks += 0.5 * (over_k + last[2]) * dt_s
        self._last = (clock_s, dissipation_w, over_k)
        self._fast_w += (dissipation_w - self._fast_w) * dt_s / (_FAST_S + dt_s)
        self._slow_w += (dissipation_w - self._slow_w) * dt_s / (_EVENS_S + dt_s)
        self._most_w = max(self._most_w, self._slow_w)
        self._smooth_c += (heatsink_c - self._smooth_c) * dt_s / (_SMOOTH_S + dt_s)
        closed = False
        if keyed is not self._keyed:
            self._keyed, self._key_s = keyed, clock_s
            self._settled = None
            if keyed:
                if self._edge is None:
                    self._edge = self._mark(clock_s)
                elif clock_s - self._edge.clock_s >= _LEAST_S:
                    closed = self._close(self._edge, clock_s, capacity)
                    self._edge = self._mark(clock_s)
        elif keyed and clock_s - self._key_s >= _SETTLED_S:
            # at rest a fan may stand still by design: only what the radio has while keyed is compared
            if self._settled is None:
                self._settled = self._mark(clock_s)
            elif clock_s - self._settled.clock_s >= _LEAST_S:
                closed = self._close(self._settled, clock_s, capacity, self._fast_w)
                self._settled = self._mark(clock_s)
        return closed

    def _begin(self, clock_s: float, heatsink_c: float, dissipation_w: float, air_c: float, keyed: bool) -> None:
        self._last = (clock_s, dissipation_w, heatsink_c - air_c)
        self._smooth_c = heatsink_c
        self._energy_j = self._loss_ks = self._energy_var = 0.0
        self._edge = self._settled = None
        if keyed is not self._keyed:
            self._keyed = keyed
        self._key_s = clock_s

    def _mark(self, clock_s: float) -> Mark:
        return Mark(clock_s, self._smooth_c, self._energy_j, self._loss_ks, self._energy_var)

    def _close(self, start: Mark, clock_s: float, capacity: float, now_w: float | None = None) -> bool:
        seconds = clock_s - start.clock_s
        loss_ks = self._loss_ks - start.loss_ks
        rise_k = loss_ks / seconds
        energy_j = self._energy_j - start.energy_j
        if capacity != capacity or seconds > _MOST_S or energy_j < _LEAST_HEAT * self._most_w * seconds:  # noqa: PLR0124  nan
            return False
        moved_k = self._smooth_c - start.heatsink_c
        if rise_k < _LEAST_RISE_K:
            # hardly warmer than the air: how well it is cooled can't be told, but it is no worse than this, nor than
            # in the window before, if it has cooled on since
            least = (energy_j - capacity * max(moved_k, 0.0)) / (_LEAST_RISE_K * seconds)
            if self._room == inf:
                return False
            if self._leaps == 0 or moved_k > _LEAST_RISE_K:
                self._leap(least)
            elif least > 0.0:
                self._leap(inf)
            return False
        w_per_k = (energy_j - capacity * moved_k) / loss_ks
        changes_w = max(abs(energy_j / seconds - self._slow_w), 0.0 if now_w is None else abs(now_w - self._slow_w))
        uneven_j = _ON_ITS_WAY * changes_w * seconds
        known_j2 = (0.05 * capacity * moved_k) ** 2 + (capacity * 0.05) ** 2 + (0.03 * energy_j) ** 2
        known_j2 += self._energy_var - start.energy_var
        sd = sqrt(known_j2 + uneven_j * uneven_j) / loss_ks
        if not w_per_k > 0.0:
            return False
        newest = Window(clock_s, w_per_k, sd, start.heatsink_c + 0.5 * moved_k, energy_j / seconds)
        self.now = _agree(self.now, newest)
        if self._room < inf:
            self._compare(self.now, warms=moved_k > _WARMS_K)
        return True

    def _compare(self, newest: Window, *, warms: bool) -> None:
        line = self._line
        if self._leap(0.0 if warms else newest.w_per_k - 2.0 * newest.sd):
            return
        here = _bin(newest.heatsink_c)
        best = max(self._best[: here + 1])
        level = newest.w_per_k + 2.0 * newest.sd
        seen_c = max([c for c in range(_BINS) if self._worst[c] <= newest.w_per_k * _SAME], default=-1)
        self.worse = best > _BETTER * self._room * newest.w_per_k and best > level and here > seen_c
        if self.worse:
            line.clear()
            return
        if newest.sd < _TEACHES * newest.w_per_k:
            line.append(newest)
        while line and newest.clock_s - line[0].clock_s > _DELAY_S:
            old = line.popleft()
            i = _bin(old.heatsink_c)
            self._best[i] = max(self._best[i], old.w_per_k)
            self._worst[i] = min(self._worst[i], old.w_per_k)

    def _leap(self, least_w_per_k: float) -> bool:
        # what the rise says of it: before any window has taught anything, and where the first ones, in which the near
        # part of a heatsink warmed up alone, have taught too much
        bound = 1.0 / self._least_r if self._least_r > 0.0 else inf
        top = min(max(self._best) or inf, bound)
        self._leaps = self._leaps + 1 if least_w_per_k > _LEAP * self._room * top else 0
        self.leapt = self._leaps >= _LEAPS
        self.doubt = least_w_per_k > _DOUBT * self._room * top
        return self._leaps > 0


def _bin(heatsink_c: float) -> int:
    return min(max(int((heatsink_c - _FROM_C) / _BIN_K), 0), _BINS - 1)


def _agree(before: Window | None, newest: Window) -> Window:
    # windows that agree within their uncertainty are one better window; no more than four are counted
    if before is None or abs(newest.w_per_k - before.w_per_k) > 2.0 * sqrt(newest.sd**2 + before.sd**2):
        return newest
    sd = max(before.sd, 0.58 * newest.sd)
    share = sd * sd / (sd * sd + newest.sd * newest.sd)
    w_per_k = before.w_per_k + share * (newest.w_per_k - before.w_per_k)
    return newest._replace(w_per_k=w_per_k, sd=sqrt(1.0 - share) * sd)
