"""Growth within a minute beside the noise that it is read through."""

from collections.abc import Callable
from random import Random
from typing import Any

import pytest

from alerts.estimates import Block, Estimates
from alerts.keyed import State
from alerts.limits import Limits
from alerts.self_growth import SelfGrowth
from alerts.types import Event, Finding
from alerts.watch import Terms
from sensors.types import Drive

Make = Callable[..., Any]


def trips(make: Make, idle_a: float, noise_a: float, grows: float, seed: int) -> bool:
    """Whether ninety seconds of an idle current are told to run away, growing by this part of it a second."""
    story, rng = make(sample_s=1.0), Random(f"growth {seed}")
    story.key(True, Drive.IDLE)
    for i in range(90):
        a = 0.5 * idle_a * (1.0 + grows * i)
        drains = {f"drain_{k}": a + rng.gauss(0.0, noise_a) for k in (1, 2)}
        said = story.run(1.0, heatsink=20.0 + 0.02 * i, **drains)
        if any(f.rule == "thermal-runaway" and f.event is Event.RAISED for f in said):
            return True
    return False


def test_a_small_current_through_much_noise_does_not_run_away(story: Make) -> None:
    """0.14 A in two devices, each read 20 mA off at a time, as its heatsink warms up by itself."""
    assert not any(trips(story, 0.14, 0.02, 0.0, seed) for seed in range(60, 160))


@pytest.mark.parametrize(("noise_a", "told"), [(0.001, True), (0.005, False)])
def test_a_minute_s_growth_is_held_against_the_noise_of_its_means(noise_a: float, told: bool) -> None:
    """13 % of 0.14 A within half a minute are 19 mA: much for a mean that is 1 mA off, and nothing for 5 mA."""
    limits = Limits()
    growth = SelfGrowth(Terms("bay-1", limits, 3.0, Estimates(limits)), "thermal-runaway")
    said: list[Finding] = []
    for i in range(8):
        a = 0.07 * (1.0 + 0.03 * i)
        keyed_s = 20.0 + 5.0 * i
        block = Block(
            keyed_s, 5.0, State.IDLE, Drive.IDLE, keyed_s, 20.0 + 0.1 * i, 13.8, 0.0, (a, a), (), 2.0, 0.0, noise_a
        )
        said += growth.look(block, block.total_a, 0)
    assert bool(said) is told


@pytest.mark.parametrize("seed", range(5))
def test_one_that_grows_out_of_its_noise_does(story: Make, seed: int) -> None:
    """Half a percent a second, and the heatsink with it, read a hundredth off."""
    assert trips(story, 0.5, 0.0025, 0.005, seed)
