"""link-lost: silence."""

from collections.abc import Callable
from typing import Any

import pytest

from alerts.types import Event, Priority

RAISED, RETURNED, TRIP = Event.RAISED, Event.RETURNED, Event.TRIP
WARNING, TO_TRIP = Priority.WARNING, Priority.TRIP
Make = Callable[..., Any]
RULE = "link-lost"


def test_three_sample_times_of_silence_warn_and_the_lease_trips(story: Make, brief: Make) -> None:
    """At 2 Hz keyed: nothing at 1.4 s, a warning by 1.6 s, the trip by 3.0 s with a lease of 3 s."""
    s = story()
    s.key(True)
    s.run(20)
    assert s.silence(1.4) == []
    assert brief(s.silence(0.2)) == [(RULE, RAISED, WARNING)]
    assert s.silence(1.2) == []
    assert brief(s.silence(0.2)) == [(RULE, RAISED, TO_TRIP), (RULE, TRIP, TO_TRIP)]


def test_while_the_key_is_not_lent_silence_trips_nothing(story: Make, brief: Make) -> None:
    """A minute of silence at rest is a warning; lending the key into it trips at once."""
    s = story()
    s.run(20)
    assert brief(s.silence(60)) == [(RULE, RAISED, WARNING)]
    s.key(True)
    assert brief(s.silence(0.1)) == [(RULE, RAISED, TO_TRIP), (RULE, TRIP, TO_TRIP)]


def test_a_slow_node_may_lose_a_pack(story: Make, brief: Make) -> None:
    """At 0.5 Hz one lost pack is 4 s of silence, over the lease, and says nothing; three trip."""
    s = story(sample_s=2.0)
    s.key(True)
    s.run(20)
    assert s.silence(4.0) == []
    s.run(10)
    assert (RULE, RAISED, TO_TRIP) in brief(s.silence(6.2))


def test_a_fast_node_may_hand_on_in_bursts(story: Make) -> None:
    """At 10 Hz packs that come five at a time, half a second apart, are no silence."""
    s = story(sample_s=0.1)
    s.key(True)
    for _ in range(100):
        s.silence(0.5)
        for _ in range(5):
            s.said += s.judge.step(s.frame(), s.now)
    assert s.said == []


def test_a_link_that_comes_back_returns_after_a_while(story: Make, brief: Make) -> None:
    """One pack is not a link: it is back when packs have come for the off-delay."""
    s = story()
    s.run(10)
    s.silence(10)
    assert s.run(4) == []
    assert brief(s.run(3)) == [(RULE, RETURNED, WARNING)]
    assert s.judge.standing_alerts() == []


def test_a_link_that_flaps_is_one_alert(story: Make, brief: Make) -> None:
    """Silence again before the off-delay is over: no return, no second alert."""
    s = story()
    s.run(10)
    for _ in range(20):
        s.silence(3)
        s.run(3)
    assert brief(s.said) == [(RULE, RAISED, WARNING)]


def test_a_bay_that_is_never_heard_is_called(story: Make, brief: Make) -> None:
    """Silence counts from the soak's first moment; the rule has had nothing to go by, and says so."""
    s = story()
    assert s.judge.standings()[RULE].state == "not yet"
    assert brief(s.silence(10)) == [(RULE, RAISED, WARNING)]


@pytest.mark.parametrize("sample_s", [0.1, 0.5, 1.0, 2.0])
def test_packs_in_time_are_no_silence(story: Make, sample_s: float) -> None:
    """With ticks between packs and each pack up to half a sample late, nothing is said."""
    s = story(sample_s=sample_s)
    s.key(True)
    for i in range(200):
        s.silence(sample_s * (0.5 if i % 2 else 1.5), tick_s=sample_s / 10)
        s.said += s.judge.step(s.frame(), s.now)
    assert s.said == []
