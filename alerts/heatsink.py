"""What one heatsink does: its heat balance, its cooling, its forecast, and whether its sensor can be trusted."""

from math import exp, inf, nan, sqrt

import msgspec

from alerts.cycle import Cycle
from alerts.estimators.cooling import Cooling
from alerts.estimators.heat_balance import HeatBalance, HeatFit
from alerts.estimators.steps import Steps
from alerts.trust import BLOCK_S, Around, Trust

#: a key-down that the plan lets be longer than this is one throughout, s
_THROUGHOUT_S = 900.0
#: heat is believed from this, W, to so many times the most that it has been, and as much more, W: beyond that a single
#: reading is a spike in one of the figures that it is reckoned from
_COLDEST_W, _HOTTEST, _HOTTER_W = -5.0, 1.5, 5.0
#: the mean dissipation follows with this time constant, s
_MEAN_S = 90.0
#: R is sure, and coolings are compared at their word, within this part of it
_SURE = 0.12
#: and with room for its doubt within this one
_UNSURE = 0.15
#: a conductance that was seen under less heat than there is now, by more than this factor, is another time's: a fan may
#: come on, and the near part of a heatsink warms up first; nor has one been seen that is known no better than within
#: this part of it
_MORE_HEAT, _HARDLY = 1.5, 0.35


class Forecast(msgspec.Struct, frozen=True):
    """The peak of the settled cycle (or of this key-down), its standard deviation, and the time to the limit."""

    peak_c: float
    sd_k: float
    seconds: float  # to the limit, inf where it is never met
    seen: bool  # how well it is cooled has been seen under such heat

    @property
    def least_c(self) -> float:
        """The lower end of the band (two standard deviations)."""
        return self.peak_c - 2.0 * self.sd_k


class Heatsink:
    """One heatsink through one soak; constant memory and constant time a frame."""

    def __init__(self, cycle: Cycle) -> None:
        self._cycle = cycle
        self.heat = HeatBalance(block_s=BLOCK_S)
        self.cooling = Cooling()
        self.trust = Trust(cycle)
        self.fit: HeatFit | None = None
        self.heatsink_c = nan  # without single-sample spikes
        self.mean_w = nan  # while keyed
        self._mean_s = 0.0
        self._temperatures = (nan, nan)
        self._steps = Steps()
        self._airs = (nan, nan, nan)
        self._older_w, self._most_w = nan, 0.0
        self._before: tuple[float, float, float, bool] | None = None
        self._air_c = 0.0

    @property
    def k_per_w(self) -> tuple[float, float] | None:
        """Thermal resistance heatsink-to-air at this time and its standard deviation, K/W; None while nothing tells.

        Before the heat balance is known, what the heatsink has risen by over what it is heated with is a lower bound.
        """
        window, fit = self.cooling.now, self.fit
        if window is not None:
            return 1.0 / window.w_per_k, window.sd / window.w_per_k**2
        if fit is not None:
            return fit.k_per_w, fit.k_per_w_sd
        risen_k = self.heatsink_c - self.heat.reference_c
        return (risen_k / self.mean_w, 0.0) if self.mean_w > 0.0 and risen_k > 5.0 else None

    def look(self, clock_s: float, raw_c: float, heat_w: float, *, air_c: float, is_keyed: bool) -> None:
        """Take in one frame: heatsink and air temperature, Cel, dissipation, W, nan where there is none."""
        if raw_c != raw_c:  # noqa: PLR0124  nan
            return
        self._steps.feed((raw_c,))
        a, b = self._temperatures
        self._temperatures = (b, raw_c)
        airs = self._airs = (self._airs[1], self._airs[2], air_c)
        air_c = max(min(airs[0], airs[1]), min(max(airs[0], airs[1]), airs[2])) if airs[0] == airs[0] else air_c
        if a != a or self._before is None:  # noqa: PLR0124  nan
            self.heatsink_c = raw_c
            self._before = (clock_s, heat_w, air_c, is_keyed)
            return
        # the median of three, which belongs to the middle one: a single spike is none of them
        middle_c = max(min(a, b), min(max(a, b), raw_c))
        self.heatsink_c = middle_c
        at_s, watt, air, was = self._before
        self._before = (clock_s, heat_w, air_c, is_keyed)
        watt = self._without_spikes(watt, heat_w)
        if watt != watt:  # noqa: PLR0124  nan
            return
        if was and clock_s > at_s:
            self._average(clock_s - at_s, watt)
        trust = self.trust
        known = trust.known or self.fit
        unmeasured_c = known.air_c if known else self.heat.reference_c
        measured = air == air  # noqa: PLR0124  nan
        air_now = air if measured else unmeasured_c
        self._air_c = air_now
        if self.heat.feed(at_s, middle_c, watt, air):
            # a heatsink that is hardly cooled any more tells no R, and one whose cooling has just changed tells a wrong
            # C: what was known before is kept
            self.fit = (None if self.cooling.worse else self.heat.fit()) or self.fit
        if air_now < 1e6:
            capacity = known.capacity_j_per_k if known and known.capacity_sd < 0.25 * known.capacity_j_per_k else nan
            # where the air is not measured, all that is fitted shares its doubt
            blind = 0.0 if measured else inf
            if known and blind:
                part = known.k_per_w_sd / known.k_per_w
                blind = 0.0 if part < _SURE else part if part < _UNSURE else inf
            self.cooling.feed(
                at_s,
                middle_c,
                watt,
                air_now,
                keyed=was,
                capacity=capacity,
                blind=blind if known else inf,
                least_r=trust.collapse.k_per_w,
            )
        if trust.feed(at_s, middle_c, watt, keyed=was):
            trust.judge(
                Around(
                    air_now,
                    measured,
                    self.heat.reference_c,
                    self.mean_w,
                    self._steps.widest,
                    self.fit,
                    (self.k_per_w or (0.0, 0.0))[0],
                    self.cooling.leapt,
                    self.cooling.doubt,
                )
            )

    def _without_spikes(self, watt: float, newer_w: float) -> float:
        older_w, self._older_w = self._older_w, watt
        middle_w = max(min(older_w, watt), min(max(older_w, watt), newer_w))
        if not middle_w < inf:
            return watt
        self._most_w = max(self._most_w, middle_w)
        return watt if _COLDEST_W <= watt <= _HOTTEST * self._most_w + _HOTTER_W else middle_w

    def _average(self, dt_s: float, watt: float) -> None:
        # over the whole key-down at first, over _MEAN_S from then on; a spike counts as three times the mean at most
        self._mean_s = self._mean_s + dt_s if self._cycle.keyed_s > dt_s else dt_s
        mean_w = self.mean_w
        if mean_w != mean_w:  # noqa: PLR0124  nan
            self.mean_w = watt
            return
        watt = min(watt, 3.0 * max(mean_w, 0.0) + 5.0)
        self.mean_w = mean_w + (watt - mean_w) * min(dt_s / max(min(self._mean_s, _MEAN_S), 1e-3), 1.0)

    def forecast(self, limit_c: float, on_limit_s: float) -> Forecast | None:
        """The forecast for the phase as it goes on now; None while the data can't say.

        With on/off cycles the settled peak is ``T_A + R·P·(1 - e^(-on/τ)) / (1 - e^(-(on + off)/τ))``; before the
        first whole cycle, and for a key-down throughout, it is where this key-down ends; but where cooling has become
        worse than it was, that it would end in time is no comfort, and it is where it settles.
        """
        fit, window, watt = self.fit, self.cooling.now, self.mean_w
        # a balance that was fitted at idle alone knows nothing yet of how the heatsink gives off what comes with drive
        if fit is None or window is None or watt != watt or fit.capacity_sd > 0.25 * fit.capacity_j_per_k:  # noqa: PLR0124  nan
            return None
        air_sd = 0.5 if self._before and self._before[2] == self._before[2] else 2.0
        peak_c, seconds = self._goes_to(limit_c, on_limit_s, watt, fit.capacity_j_per_k, 1.0 / window.w_per_k)
        # the bound is one of the conductance: a resistance that is hardly known has no symmetrical band
        cooler_c, _ = self._goes_to(
            limit_c, on_limit_s, watt, fit.capacity_j_per_k, 1.0 / (window.w_per_k + 2.0 * window.sd)
        )
        by_half_k = 0.5 * (peak_c - cooler_c)
        on_s, off_s = self._cycle.on_s, self._cycle.off_s
        duty = on_s / (on_s + off_s) if on_s > 0.0 else 1.0
        seen = watt * duty < _MORE_HEAT * window.dissipation_w and window.sd < _HARDLY * window.w_per_k
        return Forecast(peak_c, sqrt(by_half_k * by_half_k + air_sd * air_sd), seconds, seen)

    def _goes_to(
        self, limit_c: float, on_limit_s: float, watt: float, capacity: float, k_per_w: float
    ) -> tuple[float, float]:
        """The peak, Cel, and the time to the limit, s, at so many W, J/K and K/W."""
        air_c, tau_s = self._air_c, capacity * k_per_w
        rise_k = watt * k_per_w
        now_c = self.heatsink_c
        on_s, off_s = self._cycle.on_s, self._cycle.off_s
        if on_s > 0.0 and off_s > 0.0 and self._cycle.keyed_s <= 1.5 * on_s:
            part = (1.0 - exp(-on_s / tau_s)) / (1.0 - exp(-(on_s + off_s) / tau_s))
            settled_c = air_c + rise_k * on_s / (on_s + off_s)
            peak_c = air_c + rise_k * part
            return peak_c, _seconds(limit_c - (peak_c - settled_c), now_c, settled_c, tau_s)
        # a short key-down is part of a cycle that has not been seen yet: it settles nowhere near its full power
        settles = self.cooling.worse and on_limit_s > _THROUGHOUT_S
        left_s = inf if settles else max(on_limit_s - self._cycle.keyed_s, 0.0)
        settled_c = air_c + rise_k
        peak_c = settled_c + (now_c - settled_c) * exp(-left_s / tau_s)
        seconds = _seconds(limit_c, now_c, settled_c, tau_s)
        return peak_c, seconds if seconds <= left_s else inf


def _seconds(limit_c: float, now_c: float, end_c: float, tau_s: float) -> float:
    fit = HeatFit(1.0, 1.0, tau_s, end_c, 0.0, 0.0, 0.0)
    return fit.seconds_to(limit_c, now_c, 0.0)
