"""A surge against the closed form of an electro-thermal loop, and against a sound stage that warms up.

The loop's own heat makes the current grow by e^((G - 1)t/tau) for a gain G over 1 (stability of a conducting MOSFET,
dP/dT < 1/R: P. Spirito et al., MIEL 2002); devices that warm up approach their end by 1 - e^(-t/tau).
"""

from collections.abc import Callable
from math import exp, log
from random import Random

import pytest

from alerts.estimators.surge import EARLY, QUICK, SLOWER, SURGES, Growth, Surge

Course = Callable[[float], float]


def called_s(
    current: Course,
    kind: Growth = QUICK,
    *,
    hz: float = 2.0,
    heat: Course = lambda at_s: 0.05 * at_s,
    spike_s: float = -1.0,
) -> float:
    """When it is called within a minute of key-down, ``inf`` where it is not; one sample may be a spike."""
    surge, noise = Surge(kind), Random("surge").gauss
    for i in range(round(60.0 * hz)):
        at_s = i / hz
        a = 4.0 * current(at_s) + noise(0.0, 0.02) + (6.0 if 0.0 <= at_s - spike_s < 1.0 / hz else 0.0)
        if surge.feed(at_s, 40.0 + heat(at_s) + noise(0.0, 0.02), a) and surge.grown > 0.0:
            return at_s
    return float("inf")


@pytest.mark.parametrize("hz", [1.0, 2.0, 5.0, 10.0])
def test_a_quick_runaway_is_called_before_the_current_has_doubled(hz: float) -> None:
    """Growth by 1/e in 25 s is called within 20 s, at each rate of packs."""
    assert called_s(lambda at_s: exp(at_s / 25.0), hz=hz) < 20.0


@pytest.mark.parametrize("hz", [1.0, 2.0, 5.0])
def test_one_that_takes_a_minute_to_double_is_called_before_it_has_grown_by_half(hz: float) -> None:
    """Growth by 1/e in 80 s is called within 32 s, at each rate of packs."""
    assert called_s(lambda at_s: exp(at_s / 80.0), SLOWER, hz=hz) < 32.0


@pytest.mark.parametrize("hz", [1.0, 2.0, 5.0])
def test_one_that_only_begins_is_called_by_its_pace(hz: float) -> None:
    """A growth that doubles every 14 s is called before it has come to three tenths, at each rate of packs."""
    grown_s = 20.0 * log(0.3 / 0.02)
    assert called_s(lambda at_s: 1.0 + 0.02 * exp(at_s / 20.0), EARLY, hz=hz) < grown_s


@pytest.mark.parametrize("kind", SURGES)
@pytest.mark.parametrize("grown", [0.1, 0.3, 0.6])
@pytest.mark.parametrize("tau_s", [1.0, 4.0, 12.0, 40.0])
def test_devices_that_warm_up_are_let_be(grown: float, tau_s: float, kind: Growth) -> None:
    """What slows down is a warming, however much it takes."""
    assert called_s(lambda at_s: 1.0 + grown * (1.0 - exp(-at_s / tau_s)), kind) == float("inf")


@pytest.mark.parametrize("kind", SURGES)
def test_a_step_a_spike_and_growth_without_heat_are_something_else(kind: Growth) -> None:
    """A short, a wrong reading, and a heatsink that does not warm are no runaway."""
    assert called_s(lambda at_s: 1.6 if at_s > 20.0 else 1.0, kind) == float("inf")
    assert called_s(lambda at_s: 1.0, kind, spike_s=20.0) == float("inf")
    assert called_s(lambda at_s: exp(at_s / 25.0), kind, heat=lambda at_s: -0.1 * at_s) == float("inf")
