"""keying: the key and the radio disagree."""

from collections.abc import Callable
from typing import Any

import pytest

from alerts.limits import Limits
from alerts.rules.keying import stuck_key_known_s
from alerts.types import Event, Priority
from sensors.types import Drive, Quality

RAISED, RETURNED, TRIP = Event.RAISED, Event.RETURNED, Event.TRIP
WARNING, TO_TRIP = Priority.WARNING, Priority.TRIP
Make = Callable[..., Any]

NOTHING_FLOWS = {"drain_1": 0.0, "drain_2": 0.01, "forward": 0.0, "reflected": 0.0}
ALL_FLOWS = {"drain_1": 1.9, "drain_2": 1.88, "forward": 25.0, "reflected": 0.05}


def test_a_key_that_brings_no_current_is_called(story: Make, brief: Make) -> None:
    """Asked, and nothing flows after 2 s and the lag of a sample: a warning that says where to look."""
    s = story()
    s.key(True)
    assert s.run(2, **NOTHING_FLOWS, key=0.0) == []
    said = s.run(2, **NOTHING_FLOWS, key=0.0)
    assert brief(said) == [("keying", RAISED, WARNING)]
    assert "keying line" in said[0].text


@pytest.mark.parametrize(("zero_a", "says"), [(0.0, []), (0.06, []), (-0.05, [])])
def test_a_small_idle_current_is_one(story: Make, brief: Make, zero_a: float, says: list[Any]) -> None:
    """Two devices of 0.04 A each at idle, with whatever zero their sensors have: known from rest, that is current."""
    s = story()
    s.run(20, drain_1=zero_a, drain_2=zero_a)
    s.key(True, Drive.IDLE)
    assert brief(s.run(60, drain_1=0.04 + zero_a, drain_2=0.04 + zero_a), "keying") == says


def test_a_sensors_zero_is_no_current(story: Make, brief: Make) -> None:
    """What the sensors read at rest does not count as current when it is all that they read while keyed."""
    s = story()
    s.run(20, drain_1=0.05, drain_2=0.03)
    s.key(True, Drive.IDLE)
    assert brief(s.run(5, drain_1=0.05, drain_2=0.03), "keying") == [("keying", RAISED, WARNING)]


def test_a_radio_that_keys_after_all_is_back_to_normal(story: Make, brief: Make) -> None:
    """Current that comes after the warning returns it."""
    s = story()
    s.key(True)
    s.run(5, **NOTHING_FLOWS)
    assert brief(s.run(10)) == [("keying", RETURNED, WARNING)]


@pytest.mark.parametrize("sample_s", [0.1, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("left", [{"drain_1": 0.3, "drain_2": 0.0}, {"forward": 3.0}, {"key": 1.0}])
def test_a_stuck_key_trips_in_time(story: Make, brief: Make, sample_s: float, left: dict[str, float]) -> None:
    """Current, power, or the node's own word still there after the release trips within the time that is promised."""
    s = story(sample_s=sample_s)
    s.key(True)
    s.run(20)
    s.key(False)
    said = s.run(stuck_key_known_s(Limits(), sample_s) + sample_s, **left)
    assert brief(said) == [("keying", RAISED, TO_TRIP), ("keying", TRIP, TO_TRIP)]
    assert "stuck key" in said[0].text
    assert "cut the radio's supply" in said[0].text


@pytest.mark.parametrize("sample_s", [0.1, 0.5, 1.0, 2.0])
def test_readings_that_lag_the_lease_are_no_stuck_key(story: Make, sample_s: float) -> None:
    """For a sample and half a second after each release all still flows, as packs lag: a hundred cycles say nothing."""
    s = story(sample_s=sample_s)
    for _ in range(100):
        s.key(True)
        s.run(sample_s, **NOTHING_FLOWS, key=0.0)
        s.run(10 * sample_s)
        s.key(False)
        s.run(sample_s + min(0.5, sample_s), **ALL_FLOWS, key=1.0)
        s.run(10 * sample_s)
    assert s.said == []


def test_a_current_that_decays_after_the_release_is_no_stuck_key(story: Make) -> None:
    """The current decays with a time constant of half a second after the release: nothing is said."""
    s = story()
    for _ in range(20):
        s.key(True)
        s.run(10)
        s.key(False)
        s.run(20, drain_1=lambda at_s: 1.9 * 2.718 ** (-at_s / 0.5))
    assert s.said == []


def test_a_stuck_key_is_watched_between_soaks(story: Make, brief: Make) -> None:
    """No soak runs, and the radio transmits: it trips all the same."""
    s = story(soaking=False)
    assert brief(s.run(5, **ALL_FLOWS, key=1.0)) == [("keying", RAISED, TO_TRIP), ("keying", TRIP, TO_TRIP)]
    assert brief(s.run(10)) == [("keying", RETURNED, TO_TRIP)]


def test_a_whole_radios_current_at_rest_is_no_stuck_key(story: Make, brief: Make) -> None:
    """Where drain-1 is the radio's total, the receiver's 0.4 A is no transmission; power then tells."""
    s = story(soaking=False)
    assert s.run(60, without=("drain-2", "key"), drain_1=0.4) == []
    assert brief(s.run(5, without=("drain-2", "key"), drain_1=0.9, forward=5.0))[0] == ("keying", RAISED, TO_TRIP)


def test_a_node_without_a_key_word_is_judged_by_current_and_power(story: Make, brief: Make) -> None:
    """Without the key channel all of keying, match and balance is judged all the same."""
    s = story()
    for _ in range(5):
        s.key(True)
        s.run(30, without=("key",))
        s.key(False)
        s.run(30, without=("key",))
    assert s.said == []
    standings = s.judge.standings()
    assert {standings[name].state for name in ("keying", "reflected-power", "current-imbalance")} == {"judging"}
    assert brief(s.run(5, without=("key",), **ALL_FLOWS))[0] == ("keying", RAISED, TO_TRIP)


def test_a_key_down_longer_than_the_plans_trips(story: Make, brief: Make) -> None:
    """Keyed for 60 s where the plan has 30 s at a time, though the key is still lent."""
    s = story()
    s.key(True, on_limit_s=30)
    assert s.run(30) == []
    said = s.run(5)
    assert brief(said) == [("keying", RAISED, TO_TRIP), ("keying", TRIP, TO_TRIP)]
    assert "the plan has 30 s" in said[0].text


def test_a_long_phase_may_run_into_a_short_one(story: Make) -> None:
    """Ten minutes key-down, then the first 30 s of an on/off phase: the key-down of each phase is its own."""
    s = story()
    s.key(True, on_limit_s=600)
    s.run(600)
    s.now.on_limit_s, s.now.phase_since_s = 30, s.clock_s
    s.run(30)
    s.key(False, on_limit_s=30)
    s.run(30)
    assert s.said == []


def test_power_without_current_is_no_dead_radio(story: Make) -> None:
    """A current sensor that reads nothing while power flows is not called a radio that does not key."""
    s = story()
    s.key(True)
    assert [f for f in s.run(30, drain_1=0.0, drain_2=0.0) if f.rule == "keying"] == []


def test_what_can_not_be_seen_is_not_judged(story: Make) -> None:
    """No current, no power and no key word: keying has nothing to go by and says so."""
    s = story()
    s.run(30, without=("drain-1", "drain-2", "key"), forward=Quality.OUTSIDE)
    assert [f for f in s.said if f.rule == "keying"] == []
    assert s.judge.standings()["keying"].state == "not yet"


def test_idle_without_currents_is_not_called_dead(story: Make) -> None:
    """A bay with power alone can't tell idle from rest, and does not try."""
    s = story()
    s.key(True, Drive.IDLE)
    assert [f for f in s.run(30, without=("drain-1", "drain-2")) if f.rule == "keying"] == []
