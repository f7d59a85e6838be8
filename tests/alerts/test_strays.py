"""A heatsink's reading beside its devices' cases: what belongs to its sensor and what to air, pads and key.

Heatsink and cases by the heat balance that every textbook has: C·dT/dt = P - (T - T_A)/R, and T + P·R above it.
"""

from collections.abc import Callable
from math import exp
from typing import Any

import pytest

from alerts.types import Event
from sensors.types import Drive

Make = Callable[..., Any]
AIR_C, FROM_S = 22.0, 1200.0


def first_said(
    make: Make,
    *,
    feels: float = 1.0,
    better: float = 1.0,
    pad: float = 1.0,
    cases: int = 2,
    on_s: float = 1e9,
    off_s: float = 0.0,
) -> tuple[str, str, float]:
    """Rule, subject and time since the change, s, of what is said first in 35 minutes of carrier; "" for nothing.

    From the twentieth minute on the sensor feels a part of the rise, or the air cools so many times better, or the
    first device's pad is so many times worse.
    """
    story = make(sample_s=1.0)
    story.run(30.0, heatsink=AIR_C, case_1=AIR_C, case_2=AIR_C if cases > 1 else None)
    rise_k, felt_k, over_k = 0.0, 0.0, [0.0, 0.0]
    for i in range(2100):
        at_s = float(i)
        keyed = at_s % (on_s + off_s) < on_s
        if keyed is not story.now.key_asked:
            story.key(keyed, Drive.CARRIER)
        late = at_s >= FROM_S
        watt = 26.7 if keyed else 0.0
        rise_k += (watt - rise_k * (better if late else 1.0) / 1.3) / 500.0
        felt_k += (rise_k * (feels if late else 1.0) - felt_k) / 20.0
        for k in range(2):
            end_k = 0.5 * watt * 0.5 * (pad if late and k == 0 else 1.0)
            over_k[k] += (end_k - over_k[k]) * (1.0 - exp(-1.0 / 30.0))
        given = {f"case_{k + 1}": AIR_C + rise_k + over_k[k] for k in range(cases)}
        flicker = 0.02 * (i % 3)
        for finding in story.run(1.0, heatsink=AIR_C + felt_k + flicker, **given):
            if finding.event is Event.RAISED:
                return finding.rule, finding.subject, at_s - FROM_S
    return "", "", 0.0


@pytest.mark.parametrize("cases", [1, 2])
def test_a_sensor_that_comes_off_is_told_by_its_cases(story: Make, cases: int) -> None:
    """It feels 0.7 of the rise, as a better fan would leave: where the cases stay it is named within three minutes."""
    rule, subject, after_s = first_said(story, feels=0.7, cases=cases)
    assert (rule, subject) == ("sensor-fault", "heatsink apart")
    assert 0.0 < after_s < 180.0


def test_a_fan_cools_cases_too_and_a_dry_pad_takes_its_case_up(story: Make) -> None:
    """Twice the cooling is nothing; three times the pad is the pad's."""
    assert first_said(story, better=2.0) == ("", "", 0.0)
    rule, subject, after_s = first_said(story, pad=3.0)
    assert (rule, subject) == ("over-temperature", "case-1 pad")
    assert after_s > 0.0


def test_the_key_takes_both_down(story: Make) -> None:
    """Two minutes on and one off, with air that begins to cool better: nothing is told."""
    assert first_said(story, on_s=120.0, off_s=60.0, better=2.0) == ("", "", 0.0)


def test_cases_that_are_behind_their_heat_in_each_cycle_are_no_other_heatsink(story: Make) -> None:
    """A key of 60 s in 180 after a long key-down: the heatsink cools for half an hour, and the cases swing by 10 K."""
    teller = story(sample_s=1.0)
    teller.run(30.0, heatsink=AIR_C, case_1=AIR_C, case_2=AIR_C)
    rise_k, near_k, over_k, said = 0.0, 0.0, 0.0, []
    for i in range(6000):
        keyed = i < 2400 or i % 180 < 60
        if keyed is not teller.now.key_asked:
            teller.key(keyed, Drive.CARRIER)
        watt = 26.7 if keyed else 0.0
        rise_k += (watt - rise_k / 0.9) / 1500.0
        near_k += (watt * 0.3 - near_k) / 40.0
        over_k += (0.5 * watt * 0.5 - over_k) / 30.0
        given = {f"case_{k}": AIR_C + rise_k + near_k + over_k for k in (1, 2)}
        for finding in teller.run(1.0, heatsink=AIR_C + rise_k + 0.02 * (i % 3), **given):
            if finding.event is Event.RAISED:
                said.append((i, finding.rule, finding.subject))
    assert said == []
