"""How this room writes figures, times and states for a person; ``assets/words.js`` is its other half."""

import re
from contextvars import ContextVar
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

UNIT_SIGNS = {"Cel": "°C", "boolean": "", "1": "", "/": "", "s": "s", "Ohm": "Ω"}

#: whether the viewer who asks reads temperatures in ``C`` or ``F``; set for each request by ``dashboard/viewer.py``
DEGREES: ContextVar[str] = ContextVar("degrees", default="C")

#: the viewer's time zone; None: that of the bench
ZONE: ContextVar[ZoneInfo | None] = ContextVar("zone", default=None)

NOT_KNOWN = "–"


def unit_sign(unit: str) -> str:
    """The sign of a SenML unit, in the viewer's degrees."""
    if unit in ("Cel", "K") and DEGREES.get() == "F":
        return "°F"
    return UNIT_SIGNS.get(unit, unit)


def shown(value: float, unit: str) -> float:
    """A figure in the unit in which the viewer reads it: temperatures (``Cel``) and their differences (``K``) may
    be in degrees Fahrenheit (NIST SP 811, B.8)."""
    if DEGREES.get() != "F" or unit not in ("Cel", "K"):
        return value
    return value * 9 / 5 + (32 if unit == "Cel" else 0)


def number(value: float | None, unit: str = "") -> str:
    """A figure with its unit, rounded to what the unit deserves; a dash where it is not known."""
    if value is None:
        return NOT_KNOWN
    if unit == "J" and abs(value) >= 36_000:
        value, unit = value / 3600, "Wh"
    if unit == "A/K":
        value, unit = 1000 * value, "mA/K"
    value = shown(value, unit)
    if unit in ("", "s", "1", "J", "Ohm") and value == int(value):
        return f"{value:,.0f}".replace(",", "\u202f") + (f"\u00a0{unit_sign(unit)}" if unit_sign(unit) else "")
    places = {"Cel": 1, "K": 1, "A": 3, "V": 2, "W": 2, "s": 1, "J": 0, "Wh": 1, "Ohm": 3}.get(unit, 2)
    sign = unit_sign(unit)
    # the z: no "−0.00"
    text = f"{value:z,.{places}f}".replace(",", "\u202f").replace("-", "−")
    return f"{text}\u00a0{sign}" if sign else text


def duration(seconds: float | None) -> str:
    """A length of time: ``45 s``, ``9 min 30 s``, ``2 h 05 min``."""
    if seconds is None:
        return NOT_KNOWN
    whole = round(seconds)
    if whole < 60:
        return f"{whole}\u00a0s"
    parts = (whole // 60, "min", whole % 60, "s") if whole < 3600 else (whole // 3600, "h", whole % 3600 // 60, "min")
    text = f"{parts[0]}\u00a0{parts[1]}"
    return f"{text} {parts[2]:02d}\u00a0{parts[3]}" if parts[2] else text


def instant(time_ns: int | None) -> str:
    """A moment in the viewer's own time zone, which is named, to the second."""
    return NOT_KNOWN if time_ns is None else f"{local(time_ns):%Y-%m-%d %H:%M:%S %Z}"


def local(time_ns: int) -> datetime:
    """A moment by the viewer's clock."""
    return datetime.fromtimestamp(time_ns / 1e9, UTC).astimezone(ZONE.get())


#: a temperature in a sentence; what is said by the minute or the second is none
_TEMPERATURE = re.compile(r"([-−]?\d+(?:\.\d+)?)([ \u00a0])°C(?![/\w])")


def sentence(text: str) -> str:
    """What the daemon says, with a capital at its beginning and temperatures in the viewer's degrees."""
    if DEGREES.get() == "F":
        text = _TEMPERATURE.sub(_in_fahrenheit, text)
    text = text.replace(" %", "\u00a0%")
    return text[:1].upper() + text[1:]


def _in_fahrenheit(found: re.Match[str]) -> str:
    places = len(found[1].partition(".")[2])
    return f"{shown(float(found[1].replace('−', '-')), 'Cel'):.{places}f}{found[2]}°F"


#: suffix of a figure's or limit's name -> its unit; longer ones first, so that ``_min_v`` is a voltage
SUFFIXES = {
    "_c": "Cel",
    "_a": "A",
    "_v": "V",
    "_w": "W",
    "_s": "s",
    "_j": "J",
    "_db": "dB",
    "_percent": "%",
    "_pct": "%",
    "_k": "K",
    "_ma": "mA",
}


#: how far from another temperature: 5 K are 9 °F, not 41 °F
_DIFFERENCES = ("_margin_c", "_deadband_c", "_growth_c")

#: names that don't read well as they are, or whose ending is not their unit
_NAMED = {
    "heatsink_k_per_w": ("heatsink's thermal resistance", "K/W"),
    "heatsink_tau_s": ("heatsink's time constant", "s"),
    "loop_gain": ("thermal loop gain", ""),
    "idle_25c_a": ("idle current at 25 °C", "A"),
    "idle_per_k_a": ("idle current per kelvin", "A/K"),
    "source_ohm": ("source resistance of the supply", "Ohm"),
    "rf_energy_j": ("RF energy into the load", "J"),
    "efficiency_ratio": ("efficiency under drive", "%"),
    **{f"case_{i}_k_per_w": (f"case {i} to heatsink, thermal resistance", "K/W") for i in (1, 2, 3, 4)},
    "drawn_energy_j": ("energy drawn from the supply", "J"),
}


def figure_name(name: str) -> tuple[str, str]:
    """A figure's plain name and its unit, from a name that carries the unit: ``heatsink_max_c``."""
    if name in _NAMED:
        return _NAMED[name]
    for suffix, unit in SUFFIXES.items():
        if name.endswith(suffix):
            return _plain(name.removesuffix(suffix)), "K" if name.endswith(_DIFFERENCES) else unit
    return _plain(name), ""


def _plain(name: str) -> str:
    text = name.replace("_", " ")
    return f"SWR{text[3:]}" if text.startswith("swr") else text
