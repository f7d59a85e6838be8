"""What climbs within a minute or two out of noise of a known size, and what does not."""

from collections.abc import Callable
from math import exp, inf
from random import Random

import pytest

from alerts.estimators.climb import Climb
from alerts.estimators.covariance import Covariance, Shared
from alerts.estimators.slope import Line

Course = Callable[[float], float]
NOISE = 0.05


def known(noise: float, rng: Random) -> Shared:
    """What ten groups of eight have told: a level that goes with its covariate by 0.7, and its noise."""
    made = Covariance()
    for _ in range(10):
        line = Line()
        for _ in range(8):
            x = rng.uniform(1.0, 4.0)
            line.feed(x, 0.7 * x + rng.gauss(0.0, noise))
        made.feed(line)
    assert made.told is not None
    return made.told


def called_s(
    level: Course,
    *,
    seed: int = 0,
    heat: Course = lambda at_s: 0.05 * at_s,
    along: Course | None = None,
    noise: float = NOISE,
) -> float:
    """When two means of five seconds one after the other say so within ten minutes, ``inf`` where they never do."""
    rng = Random(f"climb {seed}")
    by, climb, before = known(noise, rng), Climb(), False
    for i in range(120):
        at_s = 5.0 * i
        x = along(at_s) if along else rng.uniform(1.0, 4.0)
        y = level(at_s) + 0.7 * x + rng.gauss(0.0, noise)
        said = climb.feed(at_s, 30.0 + heat(at_s), y, x, by) is not None
        if said and before:
            return at_s
        before = said
    return inf


def test_a_level_that_doubles_within_a_minute_or_two_is_called_before_it_has_trebled() -> None:
    """A loop gain of 3 behind a pole of 120 s grows by e within 60 s (Spirito and others, MIEL 2002: (G - 1)/τ)."""
    for seed in range(20):
        at_s = called_s(lambda at_s: 0.3 + 0.2 * exp(at_s / 60.0), seed=seed)
        assert 0.2 * exp(at_s / 60.0) < 1.5


def test_noise_loudness_and_a_slow_creep_are_no_climb() -> None:
    """Sound speech in ten minutes 300 times over, read well or badly; a speaker who gets louder; 60 mA a minute."""
    assert all(called_s(lambda _: 0.5, seed=seed) == inf for seed in range(300))
    assert all(called_s(lambda _: 0.5, seed=seed, noise=0.5) == inf for seed in range(300))
    assert called_s(lambda _: 0.5, along=lambda at_s: 1.0 + 3.0 * (at_s % 100.0) / 100.0) == inf
    assert called_s(lambda at_s: 0.5 + 0.06 * at_s / 60.0) == inf


@pytest.mark.parametrize("after_s", [60.0, 62.0, 64.0])
def test_a_step_is_something_else(after_s: float) -> None:
    """Half as much again at once: a device, a load or a supply, and other rules' matter."""
    assert called_s(lambda at_s: 0.5 + 1.2 * (at_s > after_s)) == inf


def test_growth_without_heat_is_something_else() -> None:
    """The heatsink must have warmed with it."""
    assert called_s(lambda at_s: 0.3 + 0.2 * exp(at_s / 60.0), heat=lambda _: 0.0) == inf


def test_a_climb_after_quiet_means_is_called_as_soon() -> None:
    """A minute of one level, and from then on half as much again every quarter of a minute: within half a minute."""
    for seed in range(20):
        at_s = called_s(lambda at_s: 1.0 * 1.5 ** (max(at_s - 60.0, 0.0) / 15.0) - 0.5, seed=seed)
        assert 60.0 < at_s <= 95.0
