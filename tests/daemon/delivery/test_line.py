"""In which order, and when, the messages of one target are tried; on a clock that only the test moves."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.delivery.line import FIRST_S, LONGEST_S, PATIENCE, Line
from daemon.delivery.outbox import Booked


class Clock:
    """Seconds that pass when the test says so."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    """A clock that stands still."""
    return Clock()


def booked(change: int) -> Booked:
    """A message."""
    return Booked(id=change, target="duty", change=change, tries=0, next_try_ns=0, escalation=False)


def run(line: Line, clock: Clock, takes: Callable[[int], bool], until_s: float) -> list[int]:
    """Try as a target's thread does, up to a moment; gives what went through, in order."""
    sent: list[int] = []
    while clock.now_s < until_s:
        found = line.next()
        if found is None:
            wait_s = line.wait_s()
            if wait_s is None:
                break
            clock.now_s += max(wait_s, 0.001)
        elif takes(found.change):
            line.sent(found)
            sent.append(found.change)
        else:
            line.missed(found)
    return sent


def test_messages_go_in_the_order_of_their_changes(clock: Clock) -> None:
    """Whatever the order in which they were added."""
    line = Line(clock)
    for change in (3, 1, 2):
        line.add(booked(change))
    assert run(line, clock, lambda _: True, clock.now_s + 1) == [1, 2, 3]
    assert (line.next(), line.wait_s(), len(line)) == (None, None, 0)


def test_a_target_that_fails_is_rested_longer_each_time_up_to_a_bound(clock: Clock) -> None:
    """Doubling from two seconds to five minutes, each cut by up to half at random."""
    line = Line(clock)
    line.add(booked(1))
    waits: list[float] = []
    for _ in range(12):
        found = line.next()
        assert found is not None
        waits.append(line.missed(found))
        assert line.next() is None
        clock.now_s += waits[-1]
    for n, wait_s in enumerate(waits):
        full_s = min(FIRST_S * 2**n, LONGEST_S)
        assert full_s / 2 <= wait_s <= full_s
    assert len(set(waits)) == 12


def test_after_an_outage_all_comes_in_order(clock: Clock) -> None:
    """However long it was: the first message stays the first."""
    line = Line(clock)
    for change in range(1, 6):
        line.add(booked(change))
    back_s = clock.now_s + 3000
    assert run(line, clock, lambda _: clock.now_s >= back_s, back_s + 1000) == [1, 2, 3, 4, 5]


def test_a_message_that_is_refused_for_itself_holds_up_the_others_for_seconds_only(clock: Clock) -> None:
    """It is set aside when the next one goes through, tried again later, and nothing else is refused with it."""
    line = Line(clock)
    for change in range(1, 6):
        line.add(booked(change))
    began_s = clock.now_s
    assert run(line, clock, lambda change: change != 1, began_s + FIRST_S * 2**PATIENCE) == [2, 3, 4, 5]
    assert len(line) == 1
    assert run(line, clock, lambda _: True, clock.now_s + LONGEST_S + 1) == [1]


def test_what_is_due_later_waits_and_holds_nothing_up(clock: Clock) -> None:
    """An escalation."""
    line = Line(clock)
    line.add(booked(1), in_s=600)
    line.add(booked(2))
    assert run(line, clock, lambda _: True, clock.now_s + 599) == [2]
    assert run(line, clock, lambda _: True, clock.now_s + 2) == [1]


def test_a_test_message_that_went_through_ends_the_rest(clock: Clock) -> None:
    """Who has mended the mail server need not wait five minutes."""
    line = Line(clock)
    line.add(booked(1))
    found = line.next()
    assert found is not None
    line.missed(found)
    assert line.next() is None
    line.hurry()
    assert line.next() is found


@given(
    added=st.lists(st.integers(1, 40), unique=True, min_size=1, max_size=12),
    downs=st.lists(st.booleans(), max_size=60),
    refused=st.sets(st.integers(1, 40), max_size=3),
)
def test_nothing_is_lost_and_nothing_is_told_twice(added: list[int], downs: list[bool], refused: set[int]) -> None:
    """Whatever fails, and in which order: in the end each message has gone through exactly once."""
    clock = Clock()
    line = Line(clock)
    for change in added:
        line.add(booked(change))
    fails = list(downs)
    stubborn = {change: 6 for change in refused}

    def takes(change: int) -> bool:
        if fails and fails.pop():
            return False
        if stubborn.get(change, 0):
            stubborn[change] -= 1
            return False
        return True

    assert sorted(run(line, clock, takes, clock.now_s + 100 * LONGEST_S)) == sorted(added)
