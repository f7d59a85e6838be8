"""Platinum resistance thermometers by the Callendar-Van Dusen equation of IEC 60751:2022, both branches."""

import math
from collections.abc import Callable

#: IEC 60751:2022, the reference function's coefficients (alpha 3.851e-3)
A_PER_C, B_PER_C2, C_PER_C4 = 3.9083e-3, -5.775e-7, -4.183e-12
#: IEC 60751:2022: where the reference function holds
LOW_C, HIGH_C = -200.0, 850.0


def ohm(celsius: float, r0_ohm: float = 100.0) -> float:
    """The resistance of a thermometer of ``r0_ohm`` at 0 °C; nan outside -200 to 850 °C."""
    t = celsius
    if not LOW_C <= t <= HIGH_C:
        return math.nan
    ratio = 1.0 + t * (A_PER_C + t * B_PER_C2)
    if t < 0:
        ratio += C_PER_C4 * (t - 100.0) * t * t * t
    return r0_ohm * ratio


def thermometer(r0_ohm: float = 100.0) -> Callable[[float], float]:
    """A function of ohm that gives degrees Celsius; nan outside -200 to 850 °C.

    Above 0 °C the closed form; below, Newton's method on the exact polynomial, to better than 1e-9 °C.
    """
    # rounding at the range's own two ends must not lose them
    low, high = ohm(LOW_C) / 100.0 * (1 - 1e-12), ohm(HIGH_C) / 100.0 * (1 + 1e-12)
    a, b, c = A_PER_C, B_PER_C2, C_PER_C4
    sqrt = math.sqrt

    def celsius(resistance_ohm: float) -> float:
        w = resistance_ohm / r0_ohm
        if not low <= w <= high:
            return math.nan
        t = (sqrt(a * a - 4.0 * b * (1.0 - w)) - a) / (2.0 * b)
        if w >= 1.0:
            return min(t, HIGH_C)
        for _ in range(10):
            cube = t * t * t
            error = 1.0 + t * (a + t * b) + c * (t - 100.0) * cube - w
            step = error / (a + 2.0 * b * t + c * (4.0 * cube - 300.0 * t * t))
            t -= step
            if -1e-10 < step < 1e-10:
                break
        return max(t, LOW_C)

    return celsius


def tolerance_c(celsius: float, accuracy_class: str) -> float:
    """The tolerance of a class AA, A, B or C thermometer at a temperature (IEC 60751:2022, tables 1 and 2)."""
    fixed, share = _CLASSES[accuracy_class]
    return fixed + share * abs(celsius)


_CLASSES = {"AA": (0.1, 0.0017), "A": (0.15, 0.002), "B": (0.3, 0.005), "C": (0.6, 0.01)}
