"""How figures and limits are called and rounded on paper."""

import math

_DRAINS = {f"drain_{i}_max_a": (f"Drain {i} current, greatest", "A", 3) for i in (1, 2, 3, 4)}
#: figure -> what it is called, its unit, decimal places; in the order in which they stand
FIGURES: dict[str, tuple[str, str, int]] = {
    "heatsink_max_c": ("Heatsink, hottest", "°C", 1),
    **_DRAINS,
    "forward_mean_w": ("Forward power under drive, mean", "W", 2),
    "efficiency_ratio": ("Efficiency under drive", "%", 1),
    "swr_max": ("SWR under drive, greatest", "", 2),
    "supply_min_v": ("Supply under load, lowest", "V", 2),
    "frames": ("Readings", "", 0),
    "gap_s": ("Time without readings", "s", 1),
}
#: counted, so that no calibration is behind them
COUNTS = frozenset({"frames", "gap_s"})
#: the limits that unkey, or that a reader asks for first; others are printed where a plan has changed them
LIMITS: dict[str, tuple[str, str, int]] = {
    "heatsink_c": ("Heatsink", "°C", 1),
    "case_c": ("Case of a device", "°C", 1),
    "device_a": ("Current of a device", "A", 2),
    "total_a": ("Current of all", "A", 2),
    "imbalance_ratio": ("Imbalance, driven", "%", 0),
    "imbalance_idle_ratio": ("Imbalance, idle", "%", 0),
    "bias_drift_idle_ratio": ("Drift of idle current", "%", 0),
    "fade_db": ("Fade of power", "dB", 2),
    "loop_gain": ("Thermal loop gain", "", 2),
    "swr": ("SWR", "", 2),
    "load_c": ("Load", "°C", 1),
    "supply_min_v": ("Supply, least", "V", 2),
    "supply_max_v": ("Supply, most", "V", 2),
}


def quantity(value: float | None, unit: str, places: int) -> str:
    """A value with its unit; empty where there is none."""
    if value is None:
        return ""
    text = f"{value * 100 if unit == '%' else value:,.{places}f}".replace(",", "\u2009").replace("-", "−")
    return f"{text}\u00a0{unit}" if unit else text


def within(expanded: float, unit: str, places: int) -> str:
    """An expanded uncertainty, rounded up: what is printed is never less than what was judged by."""
    if not math.isfinite(expanded):
        return "more than can be told"
    step = 10.0**-places
    return quantity(math.ceil(expanded / step - 1e-9) * step, unit, places)
