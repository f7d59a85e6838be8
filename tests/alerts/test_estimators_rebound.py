"""What has come down as it warmed, and grows again: against exponentials, which is what sound stages do."""

from collections.abc import Callable
from math import exp, log
from random import Random

import pytest

from alerts.estimators.rebound import Rebound

Course = Callable[[float], float]
ONSET_S = 1500.0


def warm(at_s: float) -> float:
    """24 K by one exponential of 700 s."""
    return 24.0 * (1.0 - exp(-at_s / 700.0))


def most(
    level: Course, *, rise: Course = warm, watt: Course = lambda _: 25.0, volt: Course = lambda _: 13.8, seed: int = 0
) -> float:
    """The most that an hour of means of five seconds is told to be over its least."""
    rebound, rng, found = Rebound(per_k=0.004, per_power=0.5, per_supply=1.0), Random(f"rebound {seed}"), 0.0
    for i in range(720):
        at_s = 5.0 * i
        told = rebound.feed(
            log(level(at_s)) + rng.gauss(0.0, 0.003),
            25.0 + rise(at_s) + rng.gauss(0.0, 0.03),
            log(watt(at_s)) + rng.gauss(0.0, 0.003),
            log(volt(at_s)),
        )
        found = max(found, told or 0.0)
    return found


@pytest.mark.parametrize("per_k", [-0.005, -0.001, 0.0, 0.002, 0.004])
@pytest.mark.parametrize("quick", [0.0, 0.05])
def test_what_comes_down_as_it_warms_and_stays_is_let_be(per_k: float, quick: float) -> None:
    """Coefficients of -0.5 to +0.4 % a kelvin, with a twentieth that goes within a minute, or without."""
    for seed in range(10):
        assert most(lambda at_s: 4.0 * (1 + per_k * warm(at_s) + quick * exp(-at_s / 60.0)), seed=seed) < 0.008


def test_a_creep_is_told_by_what_it_adds_whatever_the_coefficient_was() -> None:
    """12 mA a minute for 35 minutes on 4 A, which had come down by a tenth: 11 %, less what 2 K may explain."""
    told = most(lambda at_s: 4.0 * (1 - 0.005 * warm(at_s)) + 0.012 * max(at_s - ONSET_S, 0.0) / 60.0)
    assert 0.06 < told < 0.12


def test_power_supply_and_cold_explain_what_they_may() -> None:
    """A dip of power and its return; a supply that comes back up; a heatsink that cools. Power never given does not."""

    def dip(at_s: float) -> float:
        return 0.2 if 600.0 < at_s < 1200.0 else 0.0

    assert most(lambda at_s: 4.0 * (1 - dip(at_s)) ** 0.5, watt=lambda at_s: 25.0 * (1 - dip(at_s))) < 0.01
    assert most(lambda at_s: 4.0 * (1 - 0.4 * dip(at_s)), volt=lambda at_s: 13.8 * (1 - 0.4 * dip(at_s))) < 0.01

    def cools(at_s: float) -> float:
        return warm(at_s) * (1.0 if at_s < 1800.0 else exp(-(at_s - 1800.0) / 300.0))

    assert most(lambda at_s: 4.0 * (1 - 0.005 * cools(at_s)), rise=cools) < 0.01

    def more(at_s: float) -> float:
        return 1.0 + 0.2 * max(at_s - ONSET_S, 0.0) / 2100.0

    assert (
        most(lambda at_s: 4.0 * (1 - 0.005 * warm(at_s)) * more(at_s) ** 0.5, watt=lambda at_s: 25 * more(at_s)) > 0.05
    )
