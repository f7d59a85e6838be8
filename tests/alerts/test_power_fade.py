"""power-fade: what a detector shows of a power, and what it does not."""

from collections.abc import Callable
from math import exp
from random import Random
from typing import Any

import pytest

Make = Callable[..., Any]


@pytest.mark.parametrize("watt", [3.02, 3.06, 3.1, 3.14])
@pytest.mark.parametrize("seed", range(3))
def test_a_power_that_is_read_in_steps_falls_by_no_step(story: Make, watt: float, seed: int) -> None:
    """3 W in steps of 0.2 W, with less noise than a step: 1.5 % less as it warms up looks like 6 %, and is no fade."""
    s, rng = story(sample_s=1.0), Random(f"power {seed}")
    s.key(True)
    for i in range(2400):
        now_w = watt * (1.0 + 0.015 * exp(-i / 500.0)) + rng.gauss(0.0, 0.03)
        s.run(1.0, heatsink=40.0 + 0.01 * (i % 3), forward=0.2 * round(now_w / 0.2), drain_1=0.5, drain_2=0.5)
    assert [f.text for f in s.said if f.rule == "power-fade"] == []
