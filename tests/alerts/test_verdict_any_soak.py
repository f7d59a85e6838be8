"""The verdict over any course of a soak: what was not shown is never a pass."""

from collections.abc import Callable
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.limits import Limits
from alerts.types import Event, Finding, Priority
from alerts.verdict import BENCH, Outcome, Tally
from sensors.types import Drive

Make = Callable[..., Any]
RULES = [*BENCH, "over-temperature", "current-imbalance", "keying", "over-current"]
CHANNELS = ["heatsink", "supply", "forward", "drain-1"]
SECONDS = 200


def finding(rule: str, priority: Priority) -> Finding:
    """Something that a rule has raised."""
    return Finding(0, "bay-1", rule, Event.RAISED, priority, 1.0, 1.0, "1", f"{rule} has spoken")


@st.composite
def courses(draw: st.DrawFn) -> dict[str, Any]:
    """What goes wrong in a soak, if anything: time unseen, a channel dead, key-down that did not come, findings."""
    return {
        "gap_s": draw(st.sampled_from([0, 0, 0, 2, 10, 60])),
        "dead": draw(st.none() | st.tuples(st.sampled_from(CHANNELS), st.sampled_from([0.01, 0.1, 0.5]))),
        "keyed": draw(st.sampled_from([1.0, 1.0, 0.97, 0.9, 0.5])),
        "said": draw(st.lists(st.tuples(st.sampled_from(RULES), st.sampled_from(list(Priority))), max_size=3)),
        "finished": draw(st.sampled_from([True, True, True, False])),
        "u": draw(st.sampled_from([None, None, 0.1, 80.0])),
    }


def verdict_of(story: Make, course: dict[str, Any], *more: Finding) -> Outcome:
    """The verdict of a soak of 200 s of carrier with this course."""
    s, tally = story(), Tally(Limits(), 0.5)
    s.key(True, Drive.CARRIER)
    dead, share = course["dead"] or ("", 0.0)
    for i in range(SECONDS * 2):
        if i == SECONDS:
            s.clock_s += course["gap_s"]
        if i == int(SECONDS * 2 * course["keyed"]):
            s.key(False, Drive.OFF)
        s.clock_s += 0.5
        tally.step(s.frame(without=(dead,) if dead and (i * share) % 1.0 + share >= 1.0 else ()), s.now)
    said = [*(finding(rule, priority) for rule, priority in course["said"]), *more]
    for one in said:
        tally.hear(one)
    expanded = None if course["u"] is None else {"heatsink_max_c": course["u"]}
    made = tally.verdict(finished=course["finished"], asked_s=float(SECONDS), standing=said, expanded=expanded)
    assert made.reasons
    return made.verdict


@settings(max_examples=150, deadline=None)
@given(course=courses())
def test_what_was_not_shown_is_never_a_pass(story: Make, course: dict[str, Any]) -> None:
    """A hole, a dead channel, too little key-down, a plan not run, a figure inside its guard band, an open warning."""
    outcome = verdict_of(story, course)
    short = course["gap_s"] >= 10 or course["keyed"] <= 0.9 or not course["finished"] or course["u"] == 80.0
    short |= course["dead"] is not None and course["dead"][1] >= 0.1
    spoken = any(p is not Priority.ADVISORY and r not in BENCH for r, p in course["said"])
    tripped = any(p is Priority.TRIP for _, p in course["said"])
    if short or spoken or tripped:
        assert outcome is not Outcome.PASS
    if any(p is Priority.TRIP and r not in BENCH for r, p in course["said"]):
        assert outcome is Outcome.FAIL


@settings(max_examples=40, deadline=None)
@given(course=courses(), rule=st.sampled_from(RULES), priority=st.sampled_from(list(Priority)))
def test_one_more_finding_never_makes_a_verdict_better(
    story: Make, course: dict[str, Any], rule: str, priority: Priority
) -> None:
    """A pass may be lost by it; what failed by the radio stays so; nothing becomes a pass."""
    before, after = verdict_of(story, course), verdict_of(story, course, finding(rule, priority))
    assert not (before is not Outcome.PASS and after is Outcome.PASS)
    assert not (before is Outcome.FAIL and after is not Outcome.FAIL and rule not in BENCH)
