"""NTC thermistors: resistance to temperature and back, the divider that they sit in, and self-heating.

Beta equation ``1/T = 1/T0 + ln(R/R0)/B``; Steinhart-Hart ``1/T = a + b*ln R + c*(ln R)**3`` (J. S. Steinhart,
S. R. Hart, Deep-Sea Research 15 (1968) 497-503); or a table, straight in (ln R, 1/T). T in kelvin, R in ohm.
"""

import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

from sensors.errors import ConversionUnfit
from sensors.table import between

KELVIN = 273.15  # the ice point; exact by the definition of the degree Celsius (SI brochure, 2.3.1)

Side = Literal["ground", "supply"]
"""Where the thermistor's far end goes; the reference resistor goes to the other."""


class SteinhartHart(NamedTuple):
    """The three coefficients, for ohm and kelvin."""

    a: float
    b: float
    c: float


def beta(r0_ohm: float, beta_k: float, t0_c: float = 25.0) -> Callable[[float], float]:
    """A function of ohm (above 0) that gives degrees Celsius, by the beta equation."""
    a, b = 1.0 / (t0_c + KELVIN) - math.log(r0_ohm) / beta_k, 1.0 / beta_k
    log = math.log

    def celsius(ohm: float) -> float:
        inverse = a + b * log(ohm)
        return 1.0 / inverse - KELVIN if inverse > 0 else math.nan

    return celsius


def beta_ohm(celsius: float, r0_ohm: float, beta_k: float, t0_c: float = 25.0) -> float:
    """The resistance at a temperature, by the beta equation."""
    return r0_ohm * math.exp(beta_k * (1.0 / (celsius + KELVIN) - 1.0 / (t0_c + KELVIN)))


def beta_from_points(t1_c: float, r1_ohm: float, t2_c: float, r2_ohm: float) -> float:
    """B in kelvin from two measured points; raises ConversionUnfit when they fit no NTC."""
    per_kelvin = 1.0 / (t1_c + KELVIN) - 1.0 / (t2_c + KELVIN)
    if per_kelvin == 0 or (b := math.log(r1_ohm / r2_ohm) / per_kelvin) <= 0:
        raise ConversionUnfit("points", "an NTC's resistance falls as its temperature rises")
    return b


def steinhart_hart(k: SteinhartHart) -> Callable[[float], float]:
    """A function of ohm (above 0) that gives degrees Celsius, by the Steinhart-Hart equation."""
    a, b, c = k
    log = math.log

    def celsius(ohm: float) -> float:
        x = log(ohm)
        inverse = a + x * (b + c * x * x)
        return 1.0 / inverse - KELVIN if inverse > 0 else math.nan

    return celsius


def steinhart_hart_ohm(celsius: float, k: SteinhartHart) -> float:
    """The resistance at a temperature; raises ConversionUnfit when the curve falls or turns before it gets there."""
    a, b, c = k
    y = 1.0 / (celsius + KELVIN)
    x = (y - a) / b if b else math.nan
    for _ in range(60):
        slope = b + 3.0 * c * x * x
        if not slope > 0:
            break
        step = (a + x * (b + c * x * x) - y) / slope
        x -= step
        if abs(step) < 1e-13 * max(1.0, abs(x)):
            # exp must stay a double, and no thermistor comes near either end
            return math.exp(x) if abs(x) < 100 else _no_thermistor(celsius)
    return _no_thermistor(celsius)


def _no_thermistor(celsius: float) -> float:
    raise ConversionUnfit("a, b, c", f"give no thermistor's resistance at {celsius:g} °C")


def solve_three_points(points: Sequence[tuple[float, float]]) -> SteinhartHart:
    """The coefficients through three (Celsius, ohm) points; raises ConversionUnfit when they fit no NTC."""
    if len(points) != 3:
        raise ConversionUnfit("points", "three points, each [temperature in °C, resistance in ohm]")
    by_ohm = sorted((ohm, celsius) for celsius, ohm in points)
    if not all(hot > cold for (_, hot), (_, cold) in pairwise(by_ohm)):
        raise ConversionUnfit("points", "an NTC's resistance falls as its temperature rises")
    (l1, l2, l3), (y1, y2, y3) = _logs(by_ohm)
    if not l1 < l2 < l3:
        raise ConversionUnfit("points", "two of them have the same resistance")
    g2, g3 = (y2 - y1) / (l2 - l1), (y3 - y1) / (l3 - l1)
    c = (g3 - g2) / (l3 - l2) / (l1 + l2 + l3)
    b = g2 - c * (l1 * l1 + l1 * l2 + l2 * l2)
    return SteinhartHart(y1 - l1 * (b + l1 * l1 * c), b, c)


def table(points: Sequence[tuple[float, float]]) -> Callable[[float], float]:
    """A function of ohm that gives degrees Celsius, straight in (ln R, 1/T), nan beyond the table's ends.

    ``points`` are (Celsius, ohm) in any order; raises ConversionUnfit when they fit no NTC.
    """
    by_ohm = sorted((ohm, celsius) for celsius, ohm in points)
    if not all(hot > cold for (_, hot), (_, cold) in pairwise(by_ohm)):
        raise ConversionUnfit("table", "an NTC's resistance falls as its temperature rises")
    inverse_at = between(*_logs(by_ohm))
    log = math.log

    def celsius(ohm: float) -> float:
        return 1.0 / inverse_at(log(ohm)) - KELVIN

    return celsius


def _logs(by_ohm: Sequence[tuple[float, float]]) -> tuple[list[float], list[float]]:
    if any(ohm <= 0 or celsius <= -KELVIN for ohm, celsius in by_ohm):
        raise ConversionUnfit("points", "a resistance is above 0 ohm and a temperature above -273.15 °C")
    return [math.log(ohm) for ohm, _ in by_ohm], [1.0 / (celsius + KELVIN) for _, celsius in by_ohm]


def ohm_from_ratio(ratio: float, reference_ohm: float, side: Side) -> float:
    """The thermistor's resistance from the divider's output over its supply: 0 at one rail, inf at the other."""
    if side == "supply":
        ratio = 1.0 - ratio
    if ratio >= 1.0:
        return math.inf
    return max(reference_ohm * ratio / (1.0 - ratio), 0.0)


def ratio_from_ohm(ohm: float, reference_ohm: float, side: Side) -> float:
    """The divider's output over its supply."""
    ratio = ohm / (ohm + reference_ohm)
    return 1.0 - ratio if side == "supply" else ratio


def self_heating_k(ohm: float, volts: float, dissipation_w_per_k: float) -> float:
    """By how much the thermistor's own power warms it: ``V**2 / (R * delta)``, V across the thermistor."""
    return volts * volts / (ohm * dissipation_w_per_k)
