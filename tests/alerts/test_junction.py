"""The junction estimate against a textbook power MOSFET on a heatsink, T_J = T_ref + P·R_theta (JESD51).

The case (R device-case 1.75, case-sink 1.0, sink-ambient 5.0 K/W, 30 °C air, 150 °C at most: 15.5 W) was read in a
public Scilab textbook companion, 1223/CH8/EX8.2; that it is from Neamen's textbook is from memory.
"""

from collections.abc import Callable
from typing import Any

import pytest

from alerts.limits import Limits
from alerts.types import Priority
from sensors.types import Drive

Make = Callable[..., Any]
JUNCTION_TO_SINK_K_PER_W = 1.75 + 1.0
MOST_W, SINK_C, MOST_C = 15.4839, 107.419, 150.0


@pytest.fixture(scope="module")
def soaked(story: Make) -> Make:
    """One device that turns the textbook's power into heat, on a heatsink at the textbook's temperature."""

    def run(**limits: float) -> Any:
        base = {"heatsink_c": 130.0, "junction_k_per_w": JUNCTION_TO_SINK_K_PER_W}
        s = story(Limits.model_validate(base | limits))
        s.key(True, Drive.IDLE)
        noise = {"heatsink": lambda at_s: SINK_C + 0.002 * (round(at_s * 10) % 3 - 1)}
        s.run(30.0, without=("drain-2",), drain_1=MOST_W / 13.8, supply=13.8, **noise)
        return s

    return run


def test_the_estimate_is_the_textbooks(soaked: Make) -> None:
    """At the most power that the textbook allows, the junction is estimated at the most that it may have."""
    (junction_c,) = soaked(junction_c=200.0).judge.figures().junction_c
    assert junction_c == pytest.approx(MOST_C, abs=0.02)


@pytest.mark.parametrize(("limit_c", "trips"), [(MOST_C - 0.2, True), (MOST_C + 0.2, False)])
def test_a_junction_over_its_limit_trips(soaked: Make, limit_c: float, trips: bool) -> None:
    """Just over its limit the bay is unkeyed, just under it is warned; both say that it is an estimate."""
    said = [f for f in soaked(junction_c=limit_c).said if f.subject == "junction"]
    assert any(f.priority is Priority.TRIP for f in said) is trips
    assert any(f.priority is Priority.WARNING for f in said)
    assert all(f.rule == "over-temperature" and "by estimate" in f.text for f in said)
