"""The derived figures of a bay for the screen: what the estimators know, and None where they don't."""

from math import inf, isfinite

import msgspec

from alerts.estimates import Estimates
from alerts.estimators.loop_gain import Gain
from alerts.estimators.own_history import OwnHistory
from alerts.heatsink import Forecast


class Figures(msgspec.Struct, frozen=True):
    """Units in the names; a pair ``..._sd`` is one standard deviation. ``junction_c`` is an estimate (JESD51)."""

    heatsink_k_per_w: float | None = None
    heatsink_k_per_w_sd: float | None = None
    heatsink_tau_s: float | None = None
    dissipation_w: float | None = None
    loop_gain: float | None = None
    loop_gain_sd: float | None = None
    forecast_peak_c: float | None = None
    forecast_sd_k: float | None = None
    time_to_limit_s: float | None = None
    idle_25c_a: float | None = None
    idle_per_k_a: float | None = None
    source_ohm: float | None = None
    junction_c: tuple[float, ...] = ()


def figures(
    estimates: Estimates,
    forecast: Forecast | None,
    gain: Gain | None,
    idle: OwnHistory | None,
    junction_k_per_w: float,
) -> Figures:
    """Gather them; ``junction_k_per_w`` is R_theta from heatsink to junction of one device, 0 where nobody gave it."""
    fit, resistance = estimates.sink.fit, estimates.sink.k_per_w
    k_per_w = sd = tau_s = None
    if fit is not None and resistance is not None:
        k_per_w, sd = resistance
        tau_s = fit.capacity_j_per_k * k_per_w
    idle_a, idle_per_k = estimates.idle_at(idle)
    return Figures(
        heatsink_k_per_w=k_per_w,
        heatsink_k_per_w_sd=sd,
        heatsink_tau_s=tau_s,
        dissipation_w=_known(estimates.dissipation_w),
        loop_gain=gain.value if gain else None,
        loop_gain_sd=gain.sd if gain else None,
        forecast_peak_c=forecast.peak_c if forecast else None,
        forecast_sd_k=forecast.sd_k if forecast else None,
        time_to_limit_s=forecast.seconds if forecast and forecast.seconds < inf else None,
        idle_25c_a=idle_a,
        idle_per_k_a=idle_per_k,
        source_ohm=_known(estimates.source.ohm),
        junction_c=estimates.junctions_c(junction_k_per_w),
    )


def _known(value: float) -> float | None:
    return value if value == value else None  # noqa: PLR0124  nan


#: what belongs to the unit and its cooling, and not to the moment: kept with a job and compared between units
_LASTING = ("heatsink_k_per_w", "heatsink_tau_s", "loop_gain", "idle_25c_a", "idle_per_k_a", "source_ohm")


def lasting(known: Figures) -> dict[str, float]:
    """The figures of a finished soak that tell of the unit, those that are known."""
    named = {name: getattr(known, name) for name in _LASTING}
    return {name: round(value, 6) for name, value in named.items() if value is not None and isfinite(value)}
