"""sensor-fault: open, shorted, out of range, missing and stuck; and how a healthy sensor at rest is none of these."""

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.limits import Limits
from alerts.stuck import Dissipation, Stuck
from alerts.types import Event, Priority
from sensors.types import Quality

RAISED, RETURNED, TRIP = Event.RAISED, Event.RETURNED, Event.TRIP
WARNING, TO_TRIP = Priority.WARNING, Priority.TRIP
Make = Callable[..., Any]
RULE = "sensor-fault"


@pytest.mark.parametrize("why", [Quality.OPEN, Quality.SHORT, Quality.OUTSIDE, Quality.REFUSED, None, -40.0, 150.0])
def test_a_heatsink_that_can_not_be_trusted_trips(story: Make, brief: Make, why: Quality | float | None) -> None:
    """Open, shorted, outside, refused, missing, or a reading that nobody can believe: tripped after 2 s."""
    s = story()
    s.key(True)
    s.run(20)
    assert s.run(1.5, heatsink=why) == []
    said = s.run(1.5, heatsink=why)
    assert brief(said) == [(RULE, RAISED, TO_TRIP), (RULE, TRIP, TO_TRIP)]
    assert said[0].subject == "heatsink"
    assert "look" in said[0].text


@pytest.mark.parametrize("by_k", [-6.0, 4.0, 18.0])
def test_a_heatsink_that_leaps_can_not_be_trusted(story: Make, brief: Make, by_k: float) -> None:
    """No heat moves a heatsink by kelvins from one reading to the next: tripped, and back when it has leapt back."""
    s = story()
    s.key(True)
    s.run(60)
    said = s.run(5, heatsink=lambda at_s: 40.0 + by_k + 0.02 * (round(at_s * 10) % 3))
    assert brief(said) == [(RULE, RAISED, TO_TRIP), (RULE, TRIP, TO_TRIP)]
    assert f"leapt by {by_k:+.1f} K" in said[0].text
    assert brief(s.run(20)) == [(RULE, RETURNED, TO_TRIP)]


@pytest.mark.parametrize("sample_s", [0.2, 0.5, 2.0])
def test_quick_heating_and_spikes_are_no_leap(story: Make, sample_s: float) -> None:
    """A near sensor that takes 8 K in seconds at each key-down, and single readings that are wrong, are let be."""
    s = story(sample_s=sample_s)
    for _ in range(4):
        s.key(True)
        s.run(60, heatsink=lambda at_s: 40.0 + 8.0 * (1.0 - math.exp(-at_s / 4.0)) + 9.0 * (30.0 <= at_s < 30.1))
        s.key(False)
        s.run(60, heatsink=lambda at_s: 40.0 + 8.0 * math.exp(-at_s / 4.0))
    assert [f for f in s.said if f.rule == RULE] == []


@pytest.mark.parametrize("channel", ["supply", "forward", "drain-2", "key"])
def test_a_channel_that_vanishes_is_called(story: Make, brief: Make, channel: str) -> None:
    """A channel that this bay has had, and has no more, is a warning that names it."""
    s = story()
    s.key(True)
    s.run(20)
    said = s.run(5, without=(channel,))
    assert brief(said) == [(RULE, RAISED, WARNING)]
    assert said[0].text.startswith(channel)
    assert brief(s.run(10), RULE) == [(RULE, RETURNED, WARNING)]


def test_what_a_bay_may_do_without_may_come_seldom(story: Make, brief: Make) -> None:
    """An ambient reading every ten seconds is one; none for half a minute is a dead sensor."""
    s = story()
    s.key(True)
    for _ in range(6):
        s.run(0.5, ambient=22.0)
        assert s.run(9.5) == []
    assert s.run(15) == []
    said = s.run(10)
    assert brief(said) == [(RULE, RAISED, WARNING)]
    assert said[0].text.startswith("ambient has given no reading")


def test_a_needed_channel_that_never_came_is_called(story: Make, brief: Make) -> None:
    """No supply, no forward power and no drain current from the start: three warnings; no heatsink: a trip."""
    s = story()
    said = s.run(5, without=("heatsink", "supply", "forward", "drain-1", "drain-2"))
    assert sorted((f.subject, f.priority) for f in said if f.event is RAISED) == [
        ("drain", WARNING), ("forward", WARNING), ("heatsink", TO_TRIP), ("supply", WARNING)
    ]  # fmt: skip
    assert (RULE, TRIP, TO_TRIP) in brief(said)


def test_an_optional_channel_that_never_came_is_none_of_its_business(story: Make) -> None:
    """A bay without case, bias, load, ambient, peak and reflected is a healthy bay."""
    assert story().run(60, without=("reflected",)) == []


def test_no_power_in_the_detector_is_no_fault(story: Make) -> None:
    """BELOW, at rest, is what a detector says of no power."""
    assert story().run(60, forward=Quality.BELOW, reflected=Quality.BELOW) == []


def test_a_current_well_under_zero_is_a_shunt_wired_backwards(story: Make, brief: Make) -> None:
    """-1.9 A is no drain current; -0.02 A is a sensor's zero."""
    s = story()
    s.key(True)
    assert [f for f in s.run(20, drain_2=-0.02) if f.rule == RULE] == []
    said = s.run(10, drain_2=-1.9)
    assert [f.subject for f in said if f.rule == RULE] == ["drain-2"]


def test_a_stuck_heatsink_sensor_trips_once_the_heat_should_have_moved_it(story: Make, brief: Make) -> None:
    """Exactly 40.00 °C while the radio goes from rest to full power: the trip comes in minutes and says what it saw."""
    s = story()
    s.run(20)
    s.run(100, heatsink=40.0)
    s.key(True)
    said = s.run(200, heatsink=40.0)
    assert brief(said) == [(RULE, RAISED, TO_TRIP), (RULE, TRIP, TO_TRIP)]
    assert "exactly 40.00 °C" in said[0].text
    assert said[0].unit == "J"


def test_a_sensor_at_rest_may_read_the_same_for_hours(story: Make) -> None:
    """Nothing dissipates, nothing moves, for two hours: no fault."""
    assert story(sample_s=2.0).run(7200, heatsink=22.0) == []


def _twin_of_heat(
    heat_w: Callable[[float], float], *, seconds: float, mass_j_k: float, tau_s: float, lag_s: float, step_c: float
) -> list[tuple[float, float]]:
    """(time, reading) of a noiseless sensor in steps of ``step_c`` on a heatsink: C dT/dt = P - (T - T_A) C / tau."""
    sink_c = sensor_c = 22.0
    readings = []
    for i in range(int(seconds * 2)):
        at_s = i * 0.5
        sink_c += 0.5 * (heat_w(at_s) / mass_j_k - (sink_c - 22.0) / tau_s)
        sensor_c += 0.5 * (sink_c - sensor_c) / lag_s
        readings.append((at_s, round(sensor_c / step_c) * step_c))
    return readings


@settings(max_examples=40, deadline=None)
@given(
    on_s=st.sampled_from([5.0, 30.0, 60.0, 300.0, math.inf]),
    heat=st.floats(10.0, 60.0),
    mass_j_k=st.floats(500.0, 5000.0),
    tau_s=st.floats(120.0, 1800.0),
    lag_s=st.floats(2.0, 30.0),
    step_c=st.sampled_from([0.01, 0.05, 0.1, 0.14]),
)
def test_a_healthy_sensor_without_any_noise_is_never_called_stuck(
    *, on_s: float, heat: float, mass_j_k: float, tau_s: float, lag_s: float, step_c: float
) -> None:
    """Readings in steps up to 0.1 °C, or of a 12-bit converter (0.14 °C), no noise, key-downs of any length: no fault.

    The step of a 12-bit converter: under a resistor of 10 kohm, the divider ratio x of an NTC of 10 kohm and beta
    3950 K moves by x (1 - x) B / T**2 a kelvin: 0.0057 at 60 °C, so 1 / 4096 is 0.04 K, and 0.14 K at 100 °C.
    """

    def heat_w(at_s: float) -> float:
        return heat if at_s > 120 and (math.isinf(on_s) or at_s % (2 * on_s) < on_s) else 0.0

    stuck, every = Stuck(Limits()), Dissipation()
    every.passed_s = 0.5
    readings = _twin_of_heat(heat_w, seconds=2400, mass_j_k=mass_j_k, tau_s=tau_s, lag_s=lag_s, step_c=step_c)
    for at_s, reading in readings:
        assert stuck.look(reading, heat_w(at_s), every) is not True


@given(st.sampled_from([0.01, 0.1]), st.floats(20.0, 60.0))
def test_a_sensor_that_sticks_before_the_heat_is_always_called(step_c: float, heat: float) -> None:
    """A reading that stays from two minutes of rest through ten minutes of heat is stuck, whatever its step was."""
    stuck, every = Stuck(Limits()), Dissipation()
    every.passed_s = 0.5
    called = False
    for i in range(1440):
        watts = heat if i >= 240 else 0.0
        called = stuck.look(22.0 if i % 2 or i > 20 else 22.0 + step_c, watts, every) or called
    assert called
