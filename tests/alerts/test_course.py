"""Points of a current against its temperature, under speech: of one loudness, from key-down to key-down."""

from math import sqrt
from random import Random

import pytest

from alerts.course import Known, SpokenCourse
from alerts.estimates import Block
from alerts.keyed import State
from alerts.loudness import Loudness
from sensors.types import Drive


class Talk:
    """Words of any loudness: 0.7 A for each root of a watt over the idle current."""

    def __init__(self, seed: str, noise_a: float = 0.01) -> None:
        self._rng, self._noise_a = Random(seed), noise_a
        self.loudness = Loudness()
        self.course = SpokenCourse(block(0.0, 0.0, 4.0, 2.0), self.loudness)

    def key_down(
        self, at_s: float, idle_a: float = 0.5, *, blocks: int = 8, first: int = 0, least_s: float = 9.0
    ) -> Known | None:
        """So many means of five seconds; what the key-down before tells as this one begins."""
        known = None
        for i in range(first, first + blocks):
            watt = self._rng.uniform(1.0, 16.0)
            a = idle_a + 0.7 * sqrt(watt) + self._rng.gauss(0.0, self._noise_a)
            made = block(at_s + 5.0 * i, 20.0 + 5.0 * i, watt, a)
            self.loudness.feed(made.keyed_s, made.total_a, made.root_w)
            if i == 0:
                known = self.course.close(least_s)
            self.course.add(made)
        return known


def block(clock_s: float, keyed_s: float, watt: float, total_a: float) -> Block:
    """Five seconds of speech."""
    a = total_a / 2.0
    return Block(
        clock_s, 5.0, State.DRIVEN, Drive.MODULATED, keyed_s, 40.0, 13.8, watt, (a, a), (), 20.0, sqrt(watt), 0.0
    )


def points(known: Known | None) -> list[tuple[float, float, float]]:
    """Clock, temperature and current of each."""
    assert known is not None
    return list(known.gains._points)


def test_points_are_alike_however_loud_the_words_were() -> None:
    """By their means alone they would differ by a fifth; their noise is what is said of it."""
    talk = Talk("course")
    told = [talk.key_down(120.0 * k) for k in range(11)]
    currents = [point[2] for point in points(told[-1])]
    mean = sum(currents) / 10
    assert len(currents) == 10
    assert sqrt(sum((a - mean) ** 2 for a in currents) / 9) < 0.01 * mean
    # a part in a hundred at the least, for nothing is surer
    assert told[-1] is not None
    assert told[-1].noise_a == pytest.approx(0.01 * currents[-1])


def test_a_point_is_as_noisy_as_its_blocks_by_the_root_of_their_number() -> None:
    """0.3 A each, eight to a point (any textbook), and what is not known of the slope."""
    talk = Talk("noisy", noise_a=0.3)
    told = [talk.key_down(120.0 * k) for k in range(41)]
    assert told[-1] is not None
    assert told[-1].noise_a == pytest.approx(0.3 / sqrt(8), rel=0.15)


def test_a_key_down_is_told_of_before_it_is_over() -> None:
    """Once there is half of it; and it is a point only when the next one begins."""
    talk = Talk("so far")
    for k in range(3):
        talk.key_down(120.0 * k)
    talk.key_down(360.0, 2.0, blocks=3)
    assert talk.course.so_far() is None
    talk.key_down(360.0, 2.0, blocks=1, first=3)
    told = points(talk.course.so_far())
    assert len(told) == 4
    assert told[-1][2] - told[-2][2] == pytest.approx(1.5, abs=0.05)
    assert len(points(talk.key_down(480.0, 2.0))) == 4


def test_key_downs_of_one_block_each_make_a_point_together() -> None:
    """A slow node, and a key that is down for half a minute: none is lost."""
    talk = Talk("slow")
    for k in range(4):
        talk.key_down(100.0 * k)
    assert len(points(talk.key_down(400.0, blocks=1, least_s=2.0))) == 4
    assert talk.key_down(460.0, blocks=1, least_s=2.0) is None
    told = points(talk.key_down(520.0, blocks=1, least_s=2.0))
    assert len(told) == 5
    assert told[-1][0] == pytest.approx(430.0)


def test_what_goes_with_loudness_is_known_after_some_key_downs_and_from_textbooks_where_it_stands_still() -> None:
    """0.7 A for each root of a watt; and for speech that is always as loud, 0.75 of its current goes with that root."""
    loudness = Talk("known").loudness
    assert loudness.level_a(2.0, 2.0) is None
    talk = Talk("known")
    for k in range(6):
        talk.key_down(120.0 * k)
    shared = talk.loudness.shared
    assert shared is not None
    assert shared.slope == pytest.approx(0.7, abs=0.02)
    usual_a = talk.loudness.level_a(0.5 + 0.7 * 3.9, 3.9)
    assert usual_a == pytest.approx(0.5 + 0.7 * talk.loudness.usual, abs=0.05)
    steady = Loudness()
    for i in range(40):
        steady.feed(10.0 + 5.0 * (i % 8), 2.0, 2.5)
    assert steady.shared is not None
    assert steady.shared.slope == pytest.approx(0.75 * 2.0 / 2.5)


def test_a_group_is_of_one_minute_at_the_most() -> None:
    """A key that stays down is told of while it is down; a block that was not measured is none."""
    loudness = Loudness()
    for i in range(30):
        loudness.feed(10.0 + 5.0 * i, 2.0 + 0.1 * (i % 3), 2.5 + 0.1 * (i % 2))
        loudness.feed(12.0 + 5.0 * i, float("nan"), 2.5)
    assert loudness.shared is not None
