"""Whether a heatsink's sensor still reads its heatsink: it falls no quicker, and answers to heat as it did.

The sensor is judged by a heat balance that was learned some minutes before, and not from what is in doubt.
"""

from math import inf, nan, sqrt
from typing import NamedTuple, TypeGuard

from alerts.cycle import Cycle
from alerts.estimators.answer import FASTEST, Falls, Response
from alerts.estimators.collapse import Collapse
from alerts.estimators.cooldown import Cooldown
from alerts.estimators.heat_balance import HeatFit
from alerts.estimators.swing import Swing

#: heat blocks; a few cover the way of the heat through cases and sensor
BLOCK_S = 10.0
#: how long the learned balance is kept back from judging the sensor that it was learned from, in heat blocks
_BEHIND = 15
#: but a fall, which has room for so much, is judged from so few blocks on
_SOON = 5
#: and through a dry pad by so much later, s
_LATE_S = 60.0
#: a heatsink quicker than this loses too much of its heat within a block to tell an answer from none, s
_SLOW_S = 120.0
#: longer at rest than this, s, or than the key's cycle has it by this factor, a temperature tells nothing of its answer
_RESTS_S, _RESTS = 60.0, 1.2
#: power flows where it is this part of what it is while keyed
_FLOWS = 0.3
#: a heat capacity known within these parts serves to judge an answer by, and a fall, which has room for four times the
#: cooling
_ANSWER_SURE, _FALL_SURE = 0.15, 0.25
#: an answer that is missed by more than this sum is in doubt
_DOUBTED = 4.0
#: a radio may have been warm when its soak began: the air may be so much colder than its first reading, K
_AIR_FIRST_K = 3.0
#: air that is measured, and air that is fitted, may be colder than it seems by this much, K
_AIR_KNOWN_K, _AIR_FITTED_K = 2.0, 4.0
#: and unmeasured, with its door shut again, so much warmer than the radio was when its soak began, K
_AIR_WARMER_K = 10.0


class Around(NamedTuple):
    """What else is known at this time: temperatures in Cel, powers in W, resistances in K/W."""

    air_c: float  # inf while nothing tells
    air_known: bool  # measured
    first_c: float  # the heatsink's first reading
    mean_w: float  # while keyed
    step_k: float  # in which the temperature is read
    fit: HeatFit | None  # the newest
    slowest_k_per_w: float  # the greatest that is known, 0 where none is
    leapt: bool  # cooling beyond belief
    doubt: bool  # or nearly so


class Trust:
    """One sensor through one soak; constant memory and constant time a frame."""

    __slots__ = (
        "_arriving_w",
        "_below_k",
        "_block",
        "_cycle",
        "_heat_j",
        "_held_w",
        "_last",
        "_late_j",
        "_late_w",
        "_least",
        "_least_j",
        "_mark",
        "_old_fits",
        "_rested_s",
        "_unsure_j2",
        "blocks",
        "collapse",
        "cooldown",
        "deaf",
        "fallen",
        "falls",
        "response",
        "swing",
    )

    def __init__(self, cycle: Cycle) -> None:
        self._cycle = cycle
        self.falls = Falls()
        self.collapse = Collapse()
        self.response = Response()
        self.swing = Swing()
        self.cooldown = Cooldown()
        self.blocks = 0
        self.fallen = self.deaf = False  # off its heatsink; no answer to heat
        self._old_fits: list[HeatFit] = []
        self._mark: tuple[float, float, float] | None = None
        # s, Cel before and after, W, W that come late, and how far the heat may be off between samples, J²
        self._block = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        self._heat_j = self._late_j = self._arriving_w = self._late_w = self._rested_s = 0.0
        self._least = (0.0, 0.0)  # of its resistance, K/W, and the heat capacity that goes with it, J/K
        self._least_j = inf
        self._held_w = 0.0  # the heat as the heatsink follows it, from when its balance is known
        self._below_k = nan
        self._last = (nan, False)  # W and keyed of the sample before
        self._unsure_j2 = 0.0

    @property
    def known(self) -> HeatFit | None:
        """The balance of some minutes ago; None before there was one."""
        return self._old_fits[0] if self._old_fits else None

    @property
    def silent(self) -> bool:
        """Whether the temperature no longer answers to heat: at once, from key-down to key-down, or when it is gone."""
        return self.deaf or self.swing.lost or self.cooldown.lost

    @property
    def unanswered_k(self) -> float:
        """How far the heat should have moved it, K."""
        if self.deaf:
            return self.response.seen_k
        return self.cooldown.due_k if self.cooldown.lost else self.swing.expected_k

    def feed(self, clock_s: float, heatsink_c: float, watt: float, *, keyed: bool) -> bool:
        """Take one sample: the heatsink's temperature, Cel, its dissipation, W, at this clock, s.

        True when it closed a block, which is then to be judged.
        """
        self.swing.feed(clock_s, heatsink_c, watt, keyed)
        mark = self._mark
        if mark is None or clock_s - mark[1] > 10.0 or clock_s <= mark[1]:
            self._mark = (clock_s, clock_s, heatsink_c)
            self._heat_j = self._late_j = self._unsure_j2 = 0.0
            self._last = (watt, keyed)
            self.falls.restart()
            return False
        # the heat as it reaches the sensor, through cases and through its own lag
        dt_s = clock_s - mark[1]
        self._rested_s = 0.0 if keyed else self._rested_s + dt_s
        lag_s = self._old_fits[0].lag_s if self._old_fits else 0.0
        self._arriving_w += (watt - self._arriving_w) * dt_s / (lag_s + dt_s)
        self._late_w += (self._arriving_w - self._late_w) * dt_s / (_LATE_S + dt_s)
        if keyed is self._last[1]:
            self._unsure_j2 += 0.5 * ((watt - self._last[0]) * dt_s) ** 2
        self._last = (watt, keyed)
        self._heat_j += self._arriving_w * dt_s
        self._late_j += self._late_w * dt_s
        self._mark = (mark[0], clock_s, mark[2])
        seconds = clock_s - mark[0]
        if seconds < BLOCK_S:
            return False
        self._mark = (clock_s, clock_s, heatsink_c)
        self._block = (seconds, mark[2], heatsink_c, self._heat_j / seconds, self._late_j / seconds, self._unsure_j2)
        self._heat_j = self._late_j = self._unsure_j2 = 0.0
        self.blocks += 1
        return True

    def judge(self, around: Around) -> None:
        """Judge the block that was just closed."""
        seconds, before_c, heatsink_c, heat_w, late_w, _ = self._block
        collapsed = self._collapsed(seconds, heatsink_c, heat_w, around)
        fits = self._old_fits
        fallen = len(fits) >= _SOON and self._by_model(seconds, before_c, heatsink_c, (heat_w, late_w), around)
        # a heatsink as quick as the key's cycle falls to the air and comes back within it
        slow = bool(fits) and fits[0].tau_s > _SLOW_S
        self.fallen = fallen or (collapsed and slow) or around.leapt
        # what may no longer be the heatsink's temperature teaches nothing
        doubt = self.fallen or around.doubt or self.response.score >= _DOUBTED
        if _within(around.fit, _FALL_SURE) and not doubt:
            fits.append(around.fit)
            if len(fits) > _BEHIND:
                del fits[0]

    def _by_model(
        self, seconds: float, before_c: float, heatsink_c: float, heats_w: tuple[float, float], around: Around
    ) -> bool:
        old = self._old_fits[0]
        heat_w, late_w = heats_w
        if _within(old, _FALL_SURE):
            # whatever is taken for its balance later, it never was cooled so well
            sure = (old.k_per_w - 2.0 * old.k_per_w_sd) / FASTEST
            self._least = max(self._least, (sure, old.capacity_j_per_k))
        if _within(old, _ANSWER_SURE):
            self._least_j = min(self._least_j, old.capacity_j_per_k)
        self._held_w += (heat_w - self._held_w) * seconds / (old.tau_s + seconds)
        fallen = self.falls.feed(
            seconds,
            heatsink_c,
            heat_w,
            least_air_c=old.air_c - (_AIR_KNOWN_K if around.air_known else _AIR_FITTED_K),
            tau_s=old.tau_s,
            k_per_w=old.k_per_w,
        )
        self.cooldown.feed(
            seconds,
            heatsink_c,
            heat_w,
            keyed_w=around.mean_w,
            warmest_air_c=around.air_c + _AIR_KNOWN_K if around.air_known else around.first_c + _AIR_WARMER_K,
            # by whatever is known of its resistance, the slowest; a sensor that is stuck teaches a capacity without end
            tau_s=max(old.k_per_w, self.collapse.k_per_w, around.slowest_k_per_w)
            * min(old.capacity_j_per_k, self._least_j),
            held_k=self._least[0] * self._held_w,
            held_s=self._least[0] * self._least[1] or inf,
        )
        # at rest a temperature may fall to wherever the air is; while power flows it may not
        fallen = fallen and heat_w > _FLOWS * around.mean_w
        if len(self._old_fits) < _BEHIND:
            return fallen
        bare_k = heat_w * seconds / old.capacity_j_per_k
        cooled_k = bare_k - (before_c - old.air_c) * seconds / old.tau_s
        # long after a key-down only cooling is left, which a fan that stops turns round
        answers = self._rested_s < max(_RESTS_S, _RESTS * self._cycle.off_s)
        if answers and _within(old, _ANSWER_SURE):
            moved_k = heatsink_c - before_c
            late_k = cooled_k + (late_w - heat_w) * seconds / old.capacity_j_per_k
            unsure_k = sqrt(self._block[-1]) / old.capacity_j_per_k
            lost = self.response.feed(
                seconds, bare_k, cooled_k, moved_k, late_k=late_k, step_k=around.step_k, unsure_k=unsure_k
            )
            self.deaf = lost and old.tau_s > _SLOW_S
        return fallen

    def _collapsed(self, seconds: float, heatsink_c: float, watt: float, around: Around) -> bool:
        first_c = around.first_c
        if not around.air_known:
            return self.collapse.feed(
                seconds, heatsink_c - first_c, heatsink_c - first_c + _AIR_FIRST_K, watt, air_known=False
            )
        if self._below_k != self._below_k:
            # cold, a heatsink's sensor may well read less than the air's
            self._below_k = min(first_c - around.air_c, 0.0)
        rise_k = heatsink_c - around.air_c - self._below_k
        return self.collapse.feed(seconds, min(rise_k, heatsink_c - first_c), rise_k, watt, air_known=True)


def _within(fit: HeatFit | None, part: float) -> TypeGuard[HeatFit]:
    """Whether the heat capacity is known within this part of it (one standard deviation)."""
    return fit is not None and fit.capacity_sd < part * fit.capacity_j_per_k
