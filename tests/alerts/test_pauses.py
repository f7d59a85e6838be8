"""The idle current in the pauses of speech, and what is judged by it.

Speech here is words of loudness drawn anew at each reading, with pauses between: invented, as every recording would be.
"""

from collections.abc import Callable
from math import exp, sqrt
from random import Random
from typing import Any

import pytest

from alerts.pauses import Pause, Pauses
from alerts.types import Event, Priority
from sensors.types import Drive

Make = Callable[..., Any]


def told(pauses: Pauses, *, readings: int, caught: float, spikes: bool = False) -> list[Pause]:
    """What readings tell of 0.5 A; of so many of them a word is caught before its power is, and one may be a spike."""
    rng = Random("pauses")
    found: list[Pause] = []
    for i in range(readings):
        a = 0.25 + rng.gauss(0.0, 0.002) + (rng.uniform(0.1, 2.0) if rng.random() < caught else 0.0)
        pauses.feed(3.0 * i, 40.0, 13.8, (0.0 if spikes and i % 50 == 20 else a, a))
        if pauses.newest is not None and (not found or pauses.newest is not found[-1]):
            found.append(pauses.newest)
    return found


def test_the_least_of_many_readings_is_the_idle_current_whatever_words_are_caught() -> None:
    """Half the readings within the beginning of a word move no point by two percent; nor does a single spike."""
    for spikes in (False, True):
        points = told(Pauses(), readings=1000, caught=0.5, spikes=spikes)
        assert len(points) > 80
        assert all(p.total_a == pytest.approx(0.5, rel=0.02) for p in points)


def test_too_few_readings_or_too_far_apart_tell_nothing() -> None:
    """Nineteen readings are no point; nor are twenty over an hour; nor one without a current."""
    assert told(Pauses(), readings=19, caught=0.0) == []
    pauses = Pauses()
    for i in range(40):
        pauses.feed(90.0 * i, 40.0, 13.8, (0.25,))
    for i in range(40):
        pauses.feed(4000.0 + i, 40.0, 13.8, (float("nan"),))
    assert pauses.newest is None


def speak(
    make: Make,
    *,
    minutes: float,
    grows: Callable[[float, float], float],
    cycles: bool = False,
    down_s: int = 120,
    pauses: bool = True,
    caught: Callable[[float], float] = lambda _: 0.0,
) -> list[tuple[float, str]]:
    """Speech of a heatsink that warms with its heat: when which rule is said, min.

    ``grows`` gives the ampere that the bias adds, by the minute and the heatsink's temperature. With ``cycles`` the key
    is down for ``down_s`` of three minutes, and the first and the last reading of each key-down show no current yet.
    Without ``pauses`` there is always some power; ``caught`` gives the ampere that is read of words in a pause.
    """
    story = make(sample_s=1.0)
    rng = Random("speech")
    heat, silent_s, level = [25.0], 0.0, 0.5
    story.run(60.0, heatsink=lambda s: 25.0 + rng.gauss(0.0, 0.03))
    story.key(True, Drive.MODULATED)
    said = []
    for i in range(round(60.0 * minutes)):
        keyed, edge = not cycles or i % 180 < down_s, cycles and i % 180 in (0, down_s - 1)
        if keyed is not story.now.key_asked:
            story.key(keyed, Drive.MODULATED)
        silent_s -= 1.0
        if silent_s < -2.0:
            silent_s = rng.choice([0.0, 3.0])
        level = 0.0 if pauses and silent_s > 0.0 else min(exp(rng.gauss(-1.3, 0.8)), 1.0)
        more_a = grows(i / 60.0, heat[0])
        watt, idle_a = 25.0 * level, 0.25 + more_a / 2.0
        a = idle_a + 1.4 * sqrt(level) + (caught(i / 60.0) / 2.0 if level == 0.0 else 0.0)
        if not keyed or edge:
            a, watt = 0.006 * edge, 0.0
        heat[0] += (13.7 * 2.0 * a - watt - (heat[0] - 25.0) / 1.5) / 500.0
        found = story.run(
            1.0, heatsink=heat[0] + rng.gauss(0.0, 0.03), forward=watt, drain_1=a, drain_2=a, reflected=0.0
        )
        said += [(i / 60.0, f.rule) for f in found if f.event is Event.RAISED and f.priority is not Priority.ADVISORY]
        if any(f.event is Event.TRIP for f in found):
            break
    return said


def test_a_sound_radio_that_speaks_for_an_hour_is_let_be(story: Make) -> None:
    """An idle current that answers to its temperature with half a percent a kelvin is its own, the key's edges too."""
    for cycles in (False, True):
        assert speak(story, minutes=60.0, grows=lambda _, heat_c: 0.0025 * (heat_c - 25.0), cycles=cycles) == []


def test_a_bias_that_creeps_under_speech_is_told_by_the_pauses(story: Make) -> None:
    """10 mA a minute from the twentieth on, on 0.5 A that speech takes to 3 A: told before it has doubled."""
    said = speak(story, minutes=70.0, grows=lambda at_min, _: 0.01 * max(at_min - 20.0, 0.0))
    assert said
    at_min, rule = said[0]
    assert rule == "bias-drift"
    assert 20.0 < at_min < 20.0 + 50.0


def test_a_bias_that_follows_its_heat_under_speech_is_told_as_a_runaway(story: Make) -> None:
    """The loop gain is V·R·dI/dT = 13.7·1.5·0.12 = 2.5 (Spirito and others, MIEL 2002): named, with G over 1."""
    begun: list[float] = []

    def follows(at_min: float, heat_c: float) -> float:
        if at_min < 20.0:
            return 0.0
        begun[:] = begun or [heat_c - 0.5]
        return 0.12 * (heat_c - begun[0])

    said = speak(story, minutes=60.0, grows=follows)
    assert "thermal-runaway" in [rule for _, rule in said]
    assert all(at_min > 20.0 for at_min, _ in said)


@pytest.mark.parametrize(("down_s", "a_per_k"), [(30, 0.5), (60, 0.35), (60, 0.7), (90, 0.25)])
def test_a_runaway_is_told_where_a_speaker_never_pauses(story: Make, down_s: int, a_per_k: float) -> None:
    """G = 13.7·1.5·dI/dT = 5 to 14: soon it doubles from key-down to key-down; named before it has added 1.4 A."""
    begun: list[float] = []
    drawn = [0.0]

    def follows(at_min: float, heat_c: float) -> float:
        if at_min < 20.0:
            return 0.0
        begun[:] = begun or [heat_c - 0.5]
        drawn[0] = max(a_per_k * (heat_c - begun[0]), 0.0)
        return drawn[0]

    said = speak(story, minutes=60.0, grows=follows, cycles=True, down_s=down_s, pauses=False)
    assert "thermal-runaway" in [rule for _, rule in said]
    assert "over-current" not in [rule for _, rule in said]
    assert all(at_min > 20.0 for at_min, _ in said)
    assert drawn[0] < 1.4


def test_a_sound_radio_whose_speaker_never_pauses_is_let_be(story: Make) -> None:
    """An hour of any loudness, with a bias that answers to its temperature with half a percent a kelvin."""
    assert speak(story, minutes=60.0, grows=lambda _, c: 0.0025 * (c - 25.0), cycles=True, pauses=False) == []


def test_where_words_are_caught_in_all_readings_there_is_no_pause() -> None:
    """Of readings that all lie apart the least is no idle current, but for a tenth of them by chance."""
    rng, pauses, points = Random("caught"), Pauses(), set()
    for i in range(4000):
        pauses.feed(3.0 * i, 40.0, 13.8, (0.25 + rng.uniform(0.0, 1.0),))
        points.add(pauses.newest)
    assert len(points) < 0.1 * 4000 / 10
    assert len(told(Pauses(), readings=4000, caught=0.5)) > 0.9 * 4000 / 10


def test_an_idle_current_that_was_more_before_says_nothing_of_the_bias(story: Make) -> None:
    """Words were caught in each pause for a quarter of an hour, half as much again; then in none."""
    caught: Callable[[float], float] = lambda at_min: 0.25 * (at_min < 20.0)  # noqa: E731
    assert speak(story, minutes=60.0, grows=lambda *_: 0.0, caught=caught) == []


def test_a_rule_that_judges_by_pauses_alone_says_that_it_judges(story: Make) -> None:
    """Words of one reading each make no mean; the pauses between them tell all the same."""
    teller = story(sample_s=2.0)
    teller.key(True, Drive.MODULATED)
    for i in range(800):
        watt = 9.0 * (i % 2)
        teller.run(2.0, forward=watt, drain_1=0.25 + 0.35 * sqrt(watt), drain_2=0.25 + 0.35 * sqrt(watt))
        if i == 100:
            assert teller.judge.standings()["bias-drift"].state == "not yet"
    assert teller.judge._estimates.block is None
    assert teller.judge.standings()["bias-drift"].state == "judging"


@pytest.mark.parametrize("words", ["b", "d"])
def test_what_is_said_of_speech_is_of_its_usual_loudness(story: Make, words: str) -> None:
    """The amperes and the part that a sentence gives belong to one current, however loud the last words were."""
    s, rng = story(sample_s=1.0), Random(f"sentence {words}")
    for i in range(3000):
        keyed = i % 180 < 120
        if keyed is not s.now.key_asked:
            s.key(keyed, Drive.MODULATED)
        watt = 25.0 * min(exp(rng.gauss(-1.3, 0.8)), 1.0)
        a = 0.5 * (0.5 + 0.56 * sqrt(watt) + 0.02 * max(i - 1500, 0) / 60.0)
        s.run(
            1.0,
            heatsink=40.0 + rng.gauss(0.0, 0.03),
            **({"forward": watt, "drain_1": a, "drain_2": a} if keyed else {}),
        )
    said = [f for f in s.said if f.rule == "bias-drift" and f.subject == "modulated" and f.event is Event.RAISED]
    assert said
    ampere = float(said[0].text.split(" A (")[0].split()[-1])
    usual_a = s.judge._estimates.loudness.usual_a
    assert ampere == pytest.approx(usual_a * said[0].value, rel=0.1)
