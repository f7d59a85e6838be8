"""Time at temperature: how long at a lower temperature an hour at a higher one stands for (Arrhenius).

NIST/SEMATECH e-Handbook 8.1.5.1. The activation energy is an assumption about a failure mechanism, never a property
of a radio: whatever is printed from this states the one that was taken.
"""

from math import exp

#: Boltzmann's constant, eV/K (CODATA 2018; exact since 2019)
BOLTZMANN_EV_PER_K = 8.617333262e-5
KELVIN = 273.15


def acceleration(
    low_c: float,
    high_c: float,
    energy_ev: float,
    *,
    boltzmann_ev_per_k: float = BOLTZMANN_EV_PER_K,
    kelvin: float = KELVIN,
) -> float:
    """How many times faster a mechanism of ``energy_ev`` runs at ``high_c`` than at ``low_c``.

    Raises ValueError for a temperature at or under absolute zero.
    """
    low_k, high_k = low_c + kelvin, high_c + kelvin
    if low_k <= 0 or high_k <= 0:
        raise ValueError("a temperature must be over absolute zero, -273.15 °C")
    return exp(energy_ev / boltzmann_ev_per_k * (1 / low_k - 1 / high_k))


def equivalent_s(temperatures_c: list[tuple[float, float]], at_c: float, energy_ev: float) -> float:
    """Seconds at ``at_c`` that a course of (temperature, seconds) stands for."""
    return sum(seconds * acceleration(at_c, celsius, energy_ev) for celsius, seconds in temperatures_c)
