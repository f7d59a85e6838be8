"""The judge: all rules of a bay, the one trip, and that nothing a node sends can stop it."""

from collections import Counter
from collections.abc import Callable
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.judge import Judge
from alerts.limits import Limits
from alerts.rules import ALL, BETWEEN_SOAKS
from alerts.types import Event, Finding, Priority, Situation
from sensors.types import BOOLEANS, CHANNELS, NAN, Drive, Frame, Quality

Make = Callable[..., Any]

#: the contract's names of the rules that work so far
NAMES = [
    "keying", "over-current", "over-temperature", "thermal-runaway", "thermal-forecast", "reflected-power",
    "load-temperature", "current-imbalance", "bias-drift", "power-fade", "supply", "sensor-fault", "link-lost",
]  # fmt: skip

UNTOLD = {"thermal-forecast", "thermal-runaway", "load-temperature"}

wild = st.one_of(st.floats(), st.sampled_from([NAN, 0.0, 40.0, 100.0, 1e308, -1e308, float("inf")]))
frames = st.builds(
    lambda step_s, values, quality: (step_s, tuple(values), bytes(quality)),
    st.sampled_from([0.5, 0.0, 2.0, 30.0, -1.0]),
    st.lists(wild, min_size=len(CHANNELS), max_size=len(CHANNELS)),
    st.lists(st.sampled_from(list(Quality)), min_size=len(CHANNELS), max_size=len(CHANNELS)),
)
situations = st.builds(
    Situation,
    soaking=st.booleans(),
    drive=st.sampled_from(list(Drive)),
    key_asked=st.booleans(),
    asked_since_s=st.sampled_from([0.0, 95.0, 101.0]),
    phase_since_s=st.sampled_from([0.0, 99.0]),
    on_limit_s=st.sampled_from([5.0, float("inf")]),
    sample_s=st.sampled_from([0.1, 0.5, 2.0]),
)


def test_the_rules_have_the_contracts_names() -> None:
    """Every rule that works is asked, under its name in the contract, and each once."""
    assert list(Judge("bay-1", Limits()).standings()) == NAMES
    assert len(ALL) == len(NAMES)
    assert set(NAMES) >= BETWEEN_SOAKS


def test_a_healthy_soak_says_nothing(story: Make) -> None:
    """Rest, idle, an hour of key-down, on/off cycles, rest: not one word, and every rule has judged."""
    for sample_s in (0.5, 2.0):
        s = story(sample_s=sample_s)
        s.run(60)
        s.key(True, Drive.IDLE)
        s.run(120)
        s.key(True)
        s.run(3600)
        for _ in range(30):
            s.key(False)
            s.run(60)
            s.key(True, on_limit_s=60)
            s.run(60)
        s.key(False)
        s.run(300)
        assert s.said == []
        standings = s.judge.standings()
        # a heatsink that never moves tells no heat balance, and this bay has no load temperature
        assert {name for name, one in standings.items() if one.state != "judging"} <= UNTOLD


def test_there_is_one_trip_and_it_follows_its_cause(story: Make) -> None:
    """Two rules that trip make one finding of event trip, right after the first."""
    s = story()
    s.key(True)
    said = s.run(30, heatsink=80.0, drain_1=6.0)
    trips = [f for f in said if f.event is Event.TRIP]
    assert len(trips) == 1
    cause = said[said.index(trips[0]) - 1]
    assert (cause.event, cause.priority, cause.rule) == (Event.RAISED, Priority.TRIP, trips[0].rule)
    assert trips[0].text == f"unkeyed: {cause.text}"
    assert len([f for f in said if f.priority is Priority.TRIP and f.event is Event.RAISED]) > 1


def test_standing_alerts_are_those_raised_and_not_returned(story: Make) -> None:
    """Both steps of a temperature stand while it is hot, and none when it has cooled."""
    s = story()
    s.run(60, heatsink=lambda at_s: min(40.0 + at_s, 80.0))
    assert [f.priority for f in s.judge.standing_alerts()] == [Priority.WARNING, Priority.TRIP]
    s.run(60, heatsink=lambda at_s: max(80.0 - at_s, 40.0))
    assert s.judge.standing_alerts() == []


def test_between_soaks_only_key_and_heat_are_watched(story: Make) -> None:
    """A bay at rest without supply, sensors or packs says nothing; heat and a stuck key do."""
    s = story(soaking=False)
    assert s.run(60, without=("supply", "drain-1", "drain-2"), forward=Quality.OPEN) == []
    assert s.silence(60) == []
    assert {f.rule for f in s.run(10, heatsink=90.0)} == {"over-temperature"}
    s.run(20)
    assert {f.rule for f in s.run(10, forward=20.0)} == {"keying"}
    assert s.judge.standings()["supply"].why == "no soak is running"


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(frames, situations), max_size=25))
def test_no_frame_can_stop_the_judge(told: list[tuple[tuple[float, tuple[float, ...], bytes], Situation]]) -> None:
    """nan, infinities, impossible values, qualities that don't fit, a clock that jumps: judged, nothing raised."""
    judge, clock_s = Judge("bay-1", Limits()), 100.0
    for (step_s, values, quality), now in told:
        clock_s += step_s
        for found in (
            judge.step(Frame("bay-1", int(clock_s * 1e9), clock_s, -1, values, quality), now),
            judge.tick(clock_s + 0.1, int(clock_s * 1e9), now),
        ):
            assert all(isinstance(finding, Finding) and finding.text for finding in found)
        judge.standings()


bad = st.one_of(st.floats(-1e6, 1e6), st.sampled_from([1e9, -1e9, 0.0]), st.sampled_from(list(Quality)))


@settings(max_examples=150, deadline=None)
@given(
    channels=st.dictionaries(st.sampled_from([n for n in CHANNELS if n not in BOOLEANS]), bad, min_size=1),
    asked=st.booleans(),
    sample_s=st.sampled_from([0.1, 0.5, 2.0]),
    before=st.integers(1, 40),
)
def test_one_bad_frame_says_nothing(
    story: Make, channels: dict[str, float], asked: bool, sample_s: float, before: int
) -> None:
    """Whatever one frame reads in any of its measured channels, amid a healthy soak, nothing is said.

    But one: a channel that a bay has had once is missed when it is gone. So no channel comes that was not there.
    """
    s = story(sample_s=sample_s)
    s.key(asked)
    s.run(before * sample_s)
    had = {name for name, _ in s.frame().present()}
    s.run(sample_s, **{name.replace("-", "_"): value for name, value in channels.items() if name in had})
    s.run(60)
    assert s.said == []


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from([60.0, 69.5, 70.5, 74.5, 75.5, 80.0, NAN]), max_size=200), st.booleans())
def test_alerts_take_turns(story: Make, heat: list[float], asked: bool) -> None:
    """Of one alert raised and returned take turns, and what stands is what was raised once more than returned."""
    s = story()
    s.key(asked)
    for value in heat:
        s.run(0.5, heatsink=value)
    raised: Counter[tuple[str, str, Priority]] = Counter()
    for f in s.said:
        if f.event is not Event.TRIP:
            raised[f.rule, f.subject, f.priority] += 1 if f.event is Event.RAISED else -1
        assert set(raised.values()) <= {0, 1}
    standing = {(f.rule, f.subject, f.priority) for f in s.judge.standing_alerts()}
    assert standing == {alert for alert, times in raised.items() if times}
