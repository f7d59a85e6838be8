"""What swells within a minute, against two masses in closed form and against what sound stages do."""

from collections.abc import Callable
from math import exp
from random import Random

import pytest

from alerts.estimators.swell import Swell

Course = Callable[[float], float]


def called_s(level: Course, *, heat: Course = lambda at_s: 0.06 * at_s, watt: Course = lambda _: 25.0) -> float:
    """When it is called within ten minutes of a key-down by blocks of five seconds, ``inf`` where it is not."""
    swell, noise = Swell(), Random("swell").gauss
    for i in range(120):
        at_s = 5.0 * i
        said = swell.feed(at_s, 40.0 + heat(at_s) + noise(0.0, 0.02), level(at_s) * (1 + noise(0.0, 0.004)), watt(at_s))
        if said is not None:
            return at_s
    return float("inf")


def test_a_quick_loop_behind_two_masses_is_called_though_it_slows_down_for_a_while() -> None:
    """G of 5 on a near part that takes 20 s: the current grows to 1.6 at once by 1 - e^(-t/20): under half a minute."""
    assert called_s(lambda at_s: 1.0 + 0.6 * (1.0 - exp(-at_s / 20.0))) < 30.0


@pytest.mark.parametrize("tau_s", [2.0, 20.0, 200.0])
def test_devices_that_warm_up_are_let_be(tau_s: float) -> None:
    """A sixth more current under drive is the most that warming adds; common practice, no source."""
    assert called_s(lambda at_s: 1.0 + 0.17 * (1.0 - exp(-at_s / tau_s))) == float("inf")


def test_a_creep_a_fall_in_power_and_growth_without_heat_are_something_else() -> None:
    """60 mA a minute on 4 A, a load that takes more current for less power, and a heatsink that stays."""
    assert called_s(lambda at_s: 1.0 + 0.015 * at_s / 60.0) == float("inf")
    assert called_s(lambda at_s: 1.0 + 0.5 * (at_s > 60.0), watt=lambda at_s: 25.0 - 8.0 * (at_s > 60.0)) == float(
        "inf"
    )
    assert called_s(lambda at_s: 1.0 + 0.5 * (at_s > 60.0), heat=lambda _: 0.0) == float("inf")


def test_after_a_restart_nothing_is_compared_with_before() -> None:
    """Another key-down or drive begins anew."""
    swell = Swell()
    for i in range(10):
        assert swell.feed(5.0 * i, 40.0 + 0.3 * i, 1.0, 25.0) is None
    swell.restart()
    assert swell.feed(50.0, 44.0, 1.6, 25.0) is None
