"""Dwell, deadband and off-delay."""

import math
from collections.abc import Sequence
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from alerts.dwell import Dwell
from alerts.types import Event

figures = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True), st.sampled_from([0.0, 8.5, 9.5, 10.0, 11.0, math.nan])
)
steps_s = st.sampled_from([0.0, 0.1, 0.5, 1.0, 2.0, 60.0, -5.0])


def events(dwell: Dwell, values: Sequence[float], sample_s: float = 0.5) -> list[Event | None]:
    """What a dwell says of evenly spaced samples."""
    return [dwell.feed(v, 100.0 + i * sample_s, sample_s) for i, v in enumerate(values)]


def test_raises_at_the_sample_that_completes_the_dwell() -> None:
    """Over the limit for 1 s at 2 Hz: the third sample decides."""
    assert events(Dwell(10, 1, 1.0, 5.0), [9, 11, 11, 11]) == [None, None, None, Event.RAISED]


def test_what_is_raised_tells_how_long_it_has_held() -> None:
    """From its first sample on; for a node of 2 Hz and a dwell of 1 s that is 1 s, and the return counts its own."""
    dwell = Dwell(10, 1, 1.0, 5.0)
    assert events(dwell, [9, 11, 11, 11])[-1] is Event.RAISED
    assert dwell.lasted_s == 1.0
    assert [dwell.feed(8.0, 102.0 + 0.5 * i, 0.5) for i in range(11)][-1] is Event.RETURNED
    assert dwell.lasted_s == 5.0


def test_at_the_limit_is_not_over_it() -> None:
    """A figure that equals its limit keeps to it."""
    assert events(Dwell(10, 1, 1.0, 5.0), [10.0] * 100) == [None] * 100


def test_a_slow_node_needs_two_samples_though_one_lasts_longer_than_the_dwell() -> None:
    """At 0.5 Hz a dwell of 1 s still takes two samples."""
    assert events(Dwell(10, 1, 1.0, 5.0), [11, 9, 11, 11], sample_s=2.0) == [None, None, None, Event.RAISED]


def test_returns_only_under_the_deadband_and_after_the_off_delay() -> None:
    """Between limit - deadband and limit nothing changes; below it the off-delay runs, and a relapse starts it anew."""
    dwell = Dwell(10, 1, 0.5, 1.0)
    assert events(dwell, [11, 11])[-1] is Event.RAISED
    assert events(dwell, [9.5] * 50) == [None] * 50
    assert events(dwell, [8, 8, 9.5, 8, 8, 8]) == [None] * 5 + [Event.RETURNED]


def test_below_turns_the_comparison_round() -> None:
    """A low limit is crossed downwards and left upwards."""
    dwell = Dwell(10, 1, 0.5, 0.5, below=True)
    assert events(dwell, [10, 9, 9, 10.5, 11, 11]) == [None, None, Event.RAISED, None, None, Event.RETURNED]


def test_one_good_sample_does_not_hide_what_goes_on() -> None:
    """A single sample under the limit delays a dwell of 10 s by its own two sides and what it takes back, 1.5 s."""
    said = events(Dwell(10, 1, 10.0, 5.0), [11] * 10 + [9] + [11] * 20)
    assert said.index(Event.RAISED) == 20 + 3


def test_what_nobody_saw_is_no_evidence() -> None:
    """A gap of a minute between two samples over the limit counts for two sample times."""
    dwell = Dwell(10, 1, 3.0, 5.0)
    assert dwell.feed(11, 0.0, 0.5) is None
    assert dwell.feed(11, 60.0, 0.5) is None


def test_packs_that_arrive_in_a_burst_prove_nothing() -> None:
    """Ten samples over the limit that arrive at one instant don't make a dwell."""
    dwell = Dwell(10, 1, 1.0, 5.0)
    assert [dwell.feed(11, 7.0, 0.5) for _ in range(10)] == [None] * 10


@given(st.lists(figures, max_size=60), st.integers(0, 59), st.floats(0, 5), st.sampled_from([0.1, 0.5, 2.0]))
def test_one_bad_sample_says_nothing(values: list[float], at: int, on_s: float, sample_s: float) -> None:
    """Whatever a single sample reads, among samples within the limit, nothing is said."""
    within = [min(v, 10.0) if not math.isnan(v) else v for v in values]
    with_one = [*within[:at], math.inf, *within[at:]]
    assert set(events(Dwell(10, 1, on_s, 1.0), with_one, sample_s)) <= {None}


@given(st.lists(st.tuples(figures, steps_s), max_size=120), st.floats(0, 5), st.floats(0, 5))
def test_never_chatters(samples: list[tuple[float, float]], on_s: float, off_s: float) -> None:
    """Raised and returned take turns, raised first, at least a dwell or an off-delay and two samples apart."""
    dwell, clock_s, gone_s = Dwell(10, 1, on_s, off_s), 0.0, 0.0
    said: list[tuple[Event, float, int]] = []
    for i, (value, step_s) in enumerate(samples):
        clock_s += step_s
        gone_s += max(step_s, 0.0)
        event = dwell.feed(value, clock_s, 0.5)
        if event is not None:
            said.append((event, gone_s, i))
    assert [event for event, _, _ in said] == [Event.RAISED, Event.RETURNED] * (len(said) // 2) + [Event.RAISED] * (
        len(said) % 2
    )
    for (_, from_s, i), (event, to_s, j) in pairwise(said):
        assert to_s - from_s >= (on_s if event is Event.RAISED else off_s) - 1e-6
        assert j - i >= 2


@given(st.floats(10.001, 1e6), st.integers(2, 40), st.floats(0, 20), st.sampled_from([0.1, 0.5, 2.0]))
def test_always_says_what_lasts(value: float, extra: int, on_s: float, sample_s: float) -> None:
    """A figure that stays over its limit is said at the first sample at which the dwell is full, never later."""
    needed = max(2, 1 + math.ceil((on_s - 1e-6) / sample_s))
    said = events(Dwell(10, 1, on_s, 5.0), [value] * (needed + extra), sample_s)
    assert said.index(Event.RAISED) in (needed - 1, needed)
    assert said.count(Event.RAISED) == 1
