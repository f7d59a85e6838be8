"""over-temperature, over-current and current-imbalance."""

from collections.abc import Callable
from random import Random
from typing import Any

import pytest

from alerts.limits import Limits
from alerts.types import Event, Priority
from sensors.types import Drive, Quality

RAISED, RETURNED, TRIP = Event.RAISED, Event.RETURNED, Event.TRIP
WARNING, TO_TRIP = Priority.WARNING, Priority.TRIP
Make = Callable[..., Any]


def test_a_hot_heatsink_warns_and_then_trips(story: Make, brief: Make) -> None:
    """Warning 5 K under the limit, trip over it, and the trip itself once."""
    s = story()
    s.key(True)
    said = s.run(80, heatsink=lambda at_s: 40 + 0.5 * at_s)
    rule = "over-temperature"
    assert brief(said) == [(rule, RAISED, WARNING), (rule, RAISED, TO_TRIP), (rule, TRIP, TO_TRIP)]
    warned, tripped = said[0], said[1]
    assert (warned.limit, tripped.limit, tripped.unit) == (70.0, 75.0, "Cel")
    assert 75.0 < tripped.value <= 75.0 + 0.5 * (Limits().temperature_dwell_s + 0.5)
    assert "75.0 °C for 2.0 s" in tripped.text
    assert "look at the fan" in tripped.text


def test_a_hot_case_is_told_by_its_device(story: Make, brief: Make) -> None:
    """A case over its own limit trips, and the sentence says which."""
    s = story()
    s.key(True)
    said = s.run(5, case_2=115.0)
    assert ("over-temperature", RAISED, TO_TRIP) in brief(said)
    assert said[0].subject == "case-2"
    assert "case-2" in said[0].text


def test_an_alert_that_has_cooled_returns_under_the_deadband(story: Make, brief: Make) -> None:
    """71 °C warns, 69 °C is not normal yet, 67.9 °C for the off-delay is."""
    s = story()
    s.key(True)
    assert brief(s.run(5, heatsink=71.0)) == [("over-temperature", RAISED, WARNING)]
    assert s.run(30, heatsink=69.0) == []
    assert brief(s.run(6, heatsink=67.9)) == [("over-temperature", RETURNED, WARNING)]
    assert s.judge.standing_alerts() == []


def test_a_short_that_reads_as_heat_is_the_sensor(story: Make, brief: Make) -> None:
    """A node that turns a shorted thermistor into 175 °C is named a sensor fault, not heat."""
    s = story()
    s.key(True)
    assert {rule for rule, _, _ in brief(s.run(10, heatsink=175.0))} == {"sensor-fault"}


@pytest.mark.parametrize(
    ("channels", "subject"),
    [({"drain_1": 5.2, "drain_2": 1.9}, "drain-1"), ({"drain_1": 4.2, "drain_2": 4.1}, "total")],
)
def test_too_much_current_trips_within_two_seconds(
    story: Make, brief: Make, channels: dict[str, float], subject: str
) -> None:
    """One device over 5 A, or all over 8 A: tripped after the shortest dwell of all."""
    s = story()
    s.key(True)
    s.run(20)
    said = s.run(2, **channels)
    assert brief(said, "over-current") == [("over-current", RAISED, TO_TRIP), ("over-current", TRIP, TO_TRIP)]
    assert said[0].subject == subject


def test_a_lone_current_goes_by_the_limit_of_the_total(story: Make) -> None:
    """drain-1 alone may be the radio's whole current (the contract): 6 A is no device at its limit."""
    s = story()
    s.key(True)
    assert s.run(20, without=("drain-2",), drain_1=6.0) == []


def test_a_lost_current_can_still_prove_the_total_too_great(story: Make, brief: Make) -> None:
    """With one of three currents lost, the other two over 8 A trip, and under it nothing returns."""
    s = story(Limits(device_a=20.0))
    s.key(True)
    s.run(2, drain_3=1.9)
    assert brief(s.run(2, drain_1=4.1, drain_2=4.0, drain_3=Quality.OPEN), "over-current")[0][1] is RAISED
    assert brief(s.run(60, drain_3=Quality.OPEN), "over-current") == []


@pytest.mark.parametrize(("share", "said"), [(1.14, []), (1.22, [WARNING]), (1.33, [WARNING, TO_TRIP])])
def test_imbalance_under_drive_has_two_steps(story: Make, brief: Make, share: float, said: list[Priority]) -> None:
    """|I1 - I2| / mean: 13 % says nothing, 20 % warns, 28 % trips."""
    s = story()
    s.key(True)
    found = s.run(20, drain_1=1.8 * share, drain_2=1.8)
    assert [p for _, e, p in brief(found, "current-imbalance") if e is RAISED] == said


def test_for_more_devices_the_spread_is_greatest_less_least(story: Make) -> None:
    """Three devices at 1.0, 1.2 and 1.6 A: (1.6 - 1.0) / 1.2667 = 47 %."""
    s = story()
    s.key(True)
    said = s.run(20, drain_1=1.0, drain_2=1.2, drain_3=1.6)
    assert said[-1].value == pytest.approx(0.6 / (3.8 / 3))


def test_idle_balance_has_limits_of_its_own(story: Make, brief: Make) -> None:
    """At idle 25 % says nothing and 31 % warns; the sentence says at idle."""
    s = story()
    s.key(True, Drive.IDLE)
    assert s.run(30, drain_1=0.32, drain_2=0.25) == []
    said = s.run(30, drain_1=0.34, drain_2=0.25)
    assert brief(said) == [("current-imbalance", RAISED, WARNING)]
    assert "at idle" in said[0].text


def test_noise_of_four_readings_is_no_imbalance(story: Make) -> None:
    """Four alike idle currents read through hum: single readings lie 36 % apart in the mean, the devices do not."""
    s, noise = story(), Random("balance")
    s.key(True, Drive.IDLE)
    reads = {f"drain_{i}": lambda _: 0.2 + noise.gauss(0.0, 0.035) for i in (1, 2, 3, 4)}
    assert [f for f in s.run(600, **reads) if f.rule == "current-imbalance"] == []


def test_imbalance_is_not_judged_under_the_floor(story: Make) -> None:
    """0.05 A against 0.02 A are sensors' zeros, and say nothing of the devices."""
    s = story()
    s.key(True, Drive.IDLE)
    assert s.run(1.5) == []
    assert [f for f in s.run(60, drain_1=0.15, drain_2=0.02, key=1.0) if f.rule == "current-imbalance"] == []


def test_imbalance_with_one_current_is_not_applicable_and_says_so(story: Make) -> None:
    """A radio with one total current is never silently passed (the contract)."""
    s = story()
    s.key(True)
    assert s.run(60, without=("drain-2",)) == []
    standing = s.judge.standings()["current-imbalance"]
    assert standing.state == "not applicable"
    assert "one drain current" in standing.why


def test_imbalance_adds_up_over_short_key_downs(story: Make, brief: Make) -> None:
    """Key-downs of 5 s never hold a dwell of 10 s in one; out of balance in each, the radio is called all the same."""
    s = story()
    for _ in range(6):
        s.key(True)
        s.run(5, drain_1=2.4, drain_2=1.8)
        s.key(False)
        s.run(5)
    assert ("current-imbalance", RAISED, TO_TRIP) in brief(s.said)


@pytest.mark.parametrize(("step_a", "said"), [(0.04, []), (0.002, [RAISED, RAISED, TRIP])])
def test_idle_currents_that_are_read_in_steps_may_lie_apart_by_one(
    story: Make, brief: Make, step_a: float, said: list[Event]
) -> None:
    """0.10 and 0.14 A are the same where a converter reads in steps of 0.04 A, and 40 % apart for a fine one."""
    s, noise = story(), Random("steps")

    def reads(a: float) -> Callable[[float], float]:
        return lambda _: step_a * round((a + noise.gauss(0.0, 0.2 * step_a)) / step_a)

    s.key(True, Drive.IDLE)
    alike = s.run(60, drain_1=reads(0.099), drain_2=reads(0.101))
    assert brief(alike, "current-imbalance") == []
    found = s.run(60, drain_1=reads(0.099), drain_2=reads(0.145))
    assert [event for _, event, _ in brief(found, "current-imbalance")] == said
