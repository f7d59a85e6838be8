"""The twin's own wiring, for nodes that send ratios and volts: what a rack.toml must say to read them.

Thermistors: 10 kΩ at 25 °C, beta 3950 K, to ground, 10 kΩ to the supply. Currents: 0.1 V at rest, 0.4 V/A.
Powers: a diode detector that is square-law when small and linear when large. ``supply`` and ``bias`` are
volts anyhow.
"""

from collections.abc import Iterable
from math import exp, log10, sqrt

from sensors.types import UNITS

NTC_R0_OHM = 10_000.0
NTC_BETA_K = 3950.0
NTC_REFERENCE_OHM = 10_000.0
CURRENT_ZERO_V = 0.1
CURRENT_V_PER_A = 0.4

DETECTOR_V = 0.5  # volts for one watt, well above the knee
#: Where the detector passes from square-law (output with P) to linear (output with the root of P), as the
#: handbook's physics.md has it; the knee's place is our own.
DETECTOR_KNEE_W = 0.05
DETECTOR_FLOOR_V = 0.001

OPEN_RATIO, SHORT_RATIO = 0.9998, 0.0002


def ntc_ratio(celsius: float) -> float:
    """The divider's output over its supply."""
    ohm = NTC_R0_OHM * exp(NTC_BETA_K * (1.0 / (celsius + 273.15) - 1.0 / 298.15))
    return ohm / (ohm + NTC_REFERENCE_OHM)


def current_v(ampere: float) -> float:
    """The current amplifier's output, V."""
    return CURRENT_ZERO_V + CURRENT_V_PER_A * ampere


def detector_v(watt: float) -> float:
    """The detector's output, V; never quite nothing."""
    return max(DETECTOR_V * watt / sqrt(watt + DETECTOR_KNEE_W), DETECTOR_FLOOR_V) if watt > 0 else DETECTOR_FLOOR_V


def detector_table() -> list[tuple[float, float]]:
    """The detector's calibration as (V, dBm), 0.01 W to 100 W in steps of 1 dB."""
    powers_w = [10.0 ** (-2.0 + step / 10.0) for step in range(41)]
    return [(detector_v(p), 10.0 * log10(p * 1000.0)) for p in powers_w]


def tables(channels: Iterable[str]) -> dict[str, dict[str, object]]:
    """What ``[bay.channel.<name>]`` of rack.toml says for each of ``channels`` whose raw reading needs a conversion."""
    ntc = {
        "kind": "ntc-beta",
        "beta_k": NTC_BETA_K,
        "r0_ohm": NTC_R0_OHM,
        "reference_ohm": NTC_REFERENCE_OHM,
        "side": "ground",
    }
    current = {
        "kind": "line",
        "raw": "V",
        "gives": "A",
        "zero": CURRENT_ZERO_V,
        "span": 1.0 / CURRENT_V_PER_A,
    }
    power: dict[str, object] = {"kind": "detector", "table": detector_table()}
    by_unit: dict[str, dict[str, object]] = {"Cel": ntc, "A": current, "W": power}
    return {name: dict(by_unit[UNITS[name]]) for name in channels if UNITS[name] in by_unit}
