"""A bias that creeps under drive, beside what sound stages do while they warm up.

Currents by the root of the power (class B, textbook) and what the bias adds; temperatures by one exponential.
"""

from collections.abc import Callable
from math import exp, sqrt
from random import Random
from typing import Any

import pytest

from alerts.types import Event, Priority
from sensors.types import Drive

Make = Callable[..., Any]
Course = Callable[[float], float]
ONSET_S = 1500.0


def said(
    make: Make,
    *,
    power: Callable[[float, float], float] = lambda at_s, over_k: 25.0,
    adds: Course = lambda _: 0.0,
    cooler: Course = lambda _: 0.0,
    on_s: float = 1e9,
    off_s: float = 0.0,
    per_k: float = -0.0015,
    within: float = 0.0,
) -> list[tuple[str, str, float]]:
    """Rule, subject and time, s, of what is said in an hour of carrier.

    Power, W, by the second and the rise; what the bias of both devices adds, A; by how much the air is colder, K.
    The current answers to the heatsink with ``per_k``, and falls by a part ``within`` a key-down, as its devices warm.
    """
    story, rng = make(sample_s=1.0), Random("bias")
    story.run(30.0, heatsink=lambda at_s: 25.0 + rng.gauss(0.0, 0.03))
    warm_k, hot, found = 0.0, 0.0, []
    for i in range(3600):
        at_s = float(i)
        keyed = at_s % (on_s + off_s) < on_s
        if keyed is not story.now.key_asked:
            story.key(keyed, Drive.CARRIER)
        warm_k += ((24.0 * on_s / (on_s + off_s) if off_s else 24.0) * keyed - warm_k) / 700.0
        hot += (float(keyed) - hot) / 60.0
        over_k = warm_k - cooler(at_s)
        given: dict[str, float] = {}
        if keyed:
            watt = power(at_s, over_k) * (1.0 + rng.gauss(0.0, 0.003))
            a = 0.5 * (3.8 * sqrt(watt / 25.0) * (1.0 + per_k * over_k - within * hot) + adds(at_s))
            given = {"drain_1": a + rng.gauss(0.0, 0.003), "drain_2": a + rng.gauss(0.0, 0.003), "forward": watt}
        for finding in story.run(1.0, heatsink=25.0 + over_k + rng.gauss(0.0, 0.03), **given):
            if finding.event is Event.RAISED and finding.priority is not Priority.ADVISORY:
                found.append((finding.rule, finding.subject, at_s))
    return found


def creep(at_s: float) -> float:
    """12 mA a minute of each device from ONSET_S on."""
    return 0.024 * max(at_s - ONSET_S, 0.0) / 60.0


@pytest.mark.parametrize(("on_s", "off_s"), [(1e9, 0.0), (60.0, 60.0), (300.0, 120.0)])
def test_a_sound_stage_that_warms_up_sags_and_is_cooled_is_let_be(story: Make, on_s: float, off_s: float) -> None:
    """0.3 dB of sag over 24 K, and from the half hour on air that becomes 6 K colder."""
    found = said(
        story,
        power=lambda _, over_k: 25.0 * 10 ** (-0.03 * over_k / 24.0),
        cooler=lambda at_s: 6.0 * (1.0 - exp(-max(at_s - 1800.0, 0.0) / 300.0)),
        on_s=on_s,
        off_s=off_s,
        within=0.03,
    )
    assert found == []


def test_a_creep_is_named_as_soon_where_the_current_falls_more_than_any_coefficient_would_have(story: Make) -> None:
    """A tenth less by the heatsink and 3 % by the devices, while it warms up: what is known of it is no reference."""
    found = said(story, adds=creep, per_k=-0.004, within=0.03)
    assert found
    assert found[0][0] == "bias-drift"
    assert found[0][2] > ONSET_S
    assert creep(found[0][2]) < 0.1


@pytest.mark.parametrize(("on_s", "off_s"), [(1e9, 0.0), (60.0, 60.0), (300.0, 120.0)])
def test_a_slow_creep_is_told_from_the_least_that_the_current_has_come_down_to(
    story: Make, on_s: float, off_s: float
) -> None:
    """A quarter of that creep, in a unit whose current has come down by a tenth: named within a fifteenth of it."""
    found = said(story, adds=lambda at_s: 0.25 * creep(at_s), per_k=-0.004, on_s=on_s, off_s=off_s)
    assert found
    assert found[0][0] == "bias-drift"
    assert found[0][2] > ONSET_S
    assert 0.25 * creep(found[0][2]) < 0.25
    assert "least" in found[0][1]


@pytest.mark.parametrize(("on_s", "off_s"), [(1e9, 0.0), (60.0, 60.0), (300.0, 120.0)])
def test_a_creep_is_named_before_it_is_a_tenth_of_the_current(story: Make, on_s: float, off_s: float) -> None:
    """Half of the coefficient with which the current falls is still to be learned when it begins."""
    found = said(story, adds=creep, on_s=on_s, off_s=off_s)
    assert found
    assert found[0][0] == "bias-drift"
    assert found[0][2] > ONSET_S
    assert creep(found[0][2]) < 0.38


def test_a_creep_that_brings_its_power_with_it_is_named_all_the_same(story: Make) -> None:
    """As much more power as its root is worth of more current: named before it is a tenth of it."""
    found = said(story, power=lambda at_s, _: 25.0 * (1.0 + creep(at_s) / 3.8) ** 2)
    assert found
    assert found[0][0] == "bias-drift"
    assert creep(found[0][2]) < 0.38


def test_a_supply_that_reads_nothing_is_judged_by_its_own_rule(story: Make) -> None:
    """A divider that is shorted gives 0 V, or less by its offset: it stops no other rule from judging."""
    bay = story(sample_s=1.0)
    bay.key(True, Drive.CARRIER)
    for volt in (13.7, 0.0, -0.1):
        bay.run(120.0, supply=volt)
    assert any(f.rule == "supply" for f in bay.said)
