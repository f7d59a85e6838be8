"""The part of the control API that tells every limit: its value, unit and meaning, and the rules that go by it."""

from collections.abc import Mapping
from typing import Final

from fastapi import FastAPI

from alerts.limits import Limits
from daemon.api.models import LimitView
from daemon.loop import Rack

_EVERY: Final = (
    "over-temperature",
    "thermal-forecast",
    "thermal-runaway",
    "current-imbalance",
    "bias-drift",
    "power-fade",
    "reflected-power",
    "load-temperature",
    "supply",
    "over-current",
    "keying",
    "sensor-fault",
    "link-lost",
)
_HEAT: Final = ("over-temperature", "load-temperature")
#: limit -> the rules that go by it, none where it serves a figure that is only shown; a test holds this against the
#: rules' own text
RULES_OF: Final[Mapping[str, tuple[str, ...]]] = {
    "settle_s": ("reflected-power", "current-imbalance", "supply"),
    "off_delay_s": _EVERY,
    "junction_k_per_w": ("over-temperature",),
    "junction_c": ("over-temperature",),
    "junction_margin_c": ("over-temperature",),
    "activation_ev": (),
    "service_c": (),
    "heatsink_c": ("over-temperature", "thermal-forecast"),
    "heatsink_margin_c": ("over-temperature",),
    "case_c": ("over-temperature",),
    "case_margin_c": ("over-temperature",),
    "case_growth_ratio": ("over-temperature",),
    "case_growth_c": ("over-temperature",),
    "temperature_deadband_c": _HEAT,
    "temperature_dwell_s": _HEAT,
    "total_a": ("over-current",),
    "device_a": ("over-current",),
    "over_current_dwell_s": ("over-current",),
    "imbalance_ratio": ("current-imbalance",),
    "imbalance_warning_ratio": ("current-imbalance",),
    "imbalance_floor_a": ("current-imbalance",),
    "imbalance_idle_ratio": ("current-imbalance",),
    "imbalance_idle_warning_ratio": ("current-imbalance",),
    "imbalance_idle_floor_a": ("current-imbalance",),
    "imbalance_dwell_s": ("current-imbalance",),
    "imbalance_gross_dwell_s": ("current-imbalance",),
    "imbalance_growth_ratio": ("current-imbalance",),
    "bias_drift_idle_ratio": ("bias-drift",),
    "bias_drift_drive_ratio": ("bias-drift",),
    "drift_run_samples": ("bias-drift", "current-imbalance", "power-fade"),
    "fade_db": ("power-fade",),
    "fade_unexplained_db": ("power-fade",),
    "fade_settled_db": ("power-fade",),
    "fade_falling_db": ("power-fade",),
    "fade_dwell_s": ("power-fade",),
    "forecast_dwell_s": ("thermal-forecast",),
    "forecast_horizon_s": ("thermal-forecast",),
    "forecast_reserve_s": ("thermal-forecast",),
    "loop_gain": ("thermal-runaway",),
    "loop_gain_warning": ("thermal-runaway",),
    "load_c": ("load-temperature",),
    "load_margin_c": ("load-temperature",),
    "swr": ("reflected-power",),
    "swr_warning": ("reflected-power",),
    "swr_dwell_s": ("reflected-power",),
    "drive_floor_w": ("reflected-power", "current-imbalance", "supply"),
    "supply_min_v": ("supply",),
    "supply_warning_min_v": ("supply",),
    "supply_warning_max_v": ("supply",),
    "supply_max_v": ("supply",),
    "supply_deadband_v": ("supply",),
    "supply_sag_v": ("supply",),
    "source_ohm": ("supply",),
    "supply_dwell_s": ("supply",),
    "rest_device_a": ("keying",),
    "rest_total_a": ("keying",),
    "rest_forward_w": ("keying",),
    "key_lag_s": ("keying",),
    "no_current_dwell_s": ("keying",),
    "stuck_key_dwell_s": ("keying",),
    "key_down_margin_s": ("keying",),
    "sensor_min_c": ("sensor-fault",),
    "sensor_max_c": ("sensor-fault", "over-temperature"),
    "sensor_min_a": ("sensor-fault",),
    "sensor_dwell_s": ("sensor-fault",),
    "stuck_sensor_s": ("sensor-fault",),
    "stuck_sensor_j": ("sensor-fault",),
    "silent_samples": ("link-lost",),
    "silent_min_s": ("link-lost",),
}

#: how a limit's name ends -> its unit (SenML, where that has one); the first that fits
_UNITS: Final = {
    "_k_per_w": "K/W",
    "_margin_c": "K",  # a difference of temperatures
    "_deadband_c": "K",
    "_growth_c": "K",
    "_c": "Cel",
    "_a": "A",
    "_v": "V",
    "_w": "W",
    "_s": "s",
    "_j": "J",
    "_db": "dB",
    "_ev": "eV",
    "_ohm": "Ohm",
    "_ratio": "/",
}


def unit_of(limit: str) -> str:
    """The unit that a limit's name carries; ``1`` for a plain number."""
    return next((unit for suffix, unit in _UNITS.items() if limit.endswith(suffix)), "1")


def limit_views(changed: Mapping[str, Limits]) -> list[LimitView]:
    """Every limit in the order of ``alerts/limits.py``; ``changed`` has the limits in force, by bay."""
    default = Limits()
    return [
        LimitView(
            limit=name,
            value=getattr(default, name),
            unit=unit_of(name),
            meaning=field.description or "",
            rules=list(RULES_OF.get(name, ())),
            bays={bay: value for bay, of in changed.items() if (value := getattr(of, name)) != getattr(default, name)},
        )
        for name, field in Limits.model_fields.items()
    ]


def add_limits(app: FastAPI, rack: Rack) -> None:
    """Add this route to the app."""

    @app.get("/v1/limits")
    def limits() -> list[LimitView]:
        return limit_views({name: bay.limits for name, bay in rack.bays.items()})
