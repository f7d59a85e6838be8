"""Points of a current against its temperature, under speech: of one loudness, from key-down to key-down."""

from math import sqrt
from random import Random

import pytest

from alerts.course import SpokenCourse
from alerts.estimates import Block
from alerts.keyed import State
from sensors.types import Drive


def block(clock_s: float, heatsink_c: float, watt: float, total_a: float) -> Block:
    """Five seconds of speech."""
    a = total_a / 2.0
    return Block(
        clock_s, 5.0, State.DRIVEN, Drive.MODULATED, 20.0, heatsink_c, 13.8, watt, (a, a), (), 20.0, sqrt(watt)
    )


def spoken(
    course: SpokenCourse, rng: Random, at_s: float, *, idle_a: float, blocks: int = 8, noise_a: float = 0.01
) -> None:
    """One key-down of words of any loudness: 0.7 A for each root of a watt over the idle current."""
    for i in range(blocks):
        watt = rng.uniform(1.0, 16.0)
        course.add(block(at_s + 5.0 * i, 40.0, watt, idle_a + 0.7 * sqrt(watt) + rng.gauss(0.0, noise_a)))


def begun(rng: Random, keydowns: int, idle_a: float = 0.5) -> SpokenCourse:
    """A course of so many key-downs, each of them closed."""
    course = SpokenCourse(block(0.0, 40.0, 4.0, 2.0))
    for k in range(keydowns):
        spoken(course, rng, 120.0 * k, idle_a=idle_a)
        course.close(9.0)
    return course


def test_points_are_alike_however_loud_the_words_were() -> None:
    """By their means alone they would differ by a fifth; their noise is what is said of it."""
    rng = Random("course")
    course = begun(rng, 9)
    spoken(course, rng, 1200.0, idle_a=0.5)
    known = course.close(9.0)
    assert known is not None
    points = list(known.gains._points)
    mean = sum(point[2] for point in points) / 10
    sd = sqrt(sum((point[2] - mean) ** 2 for point in points) / 9)
    assert sd < 0.01 * mean
    # of a part in a hundred at the least, for nothing is surer
    assert known.noise_a == pytest.approx(0.01 * points[-1][2])


def test_a_point_is_as_noisy_as_its_blocks_by_the_root_of_their_number() -> None:
    """0.3 A each, eight to a point (any textbook), and what is not known of the slope."""
    rng = Random("noisy")
    course = SpokenCourse(block(0.0, 40.0, 4.0, 2.0))
    for k in range(40):
        spoken(course, rng, 120.0 * k, idle_a=0.5, noise_a=0.3)
        known = course.close(9.0)
    assert known is not None
    assert known.noise_a == pytest.approx(0.3 / sqrt(8), rel=0.15)


def test_a_key_down_is_told_of_before_it_is_over() -> None:
    """Once there is half of it; and it is a point only when it is closed."""
    rng = Random("so far")
    course = begun(rng, 3)
    spoken(course, rng, 360.0, idle_a=2.0, blocks=3)
    assert course.so_far() is None
    spoken(course, rng, 375.0, idle_a=2.0, blocks=1)
    known = course.so_far()
    assert known is not None
    assert known.gains.count == 4
    newest, before = list(known.gains._points)[-1], list(known.gains._points)[-2]
    assert newest[2] - before[2] == pytest.approx(1.5, abs=0.05)
    closed = course.close(9.0)
    assert closed is not None
    assert closed.gains.count == 4


def test_key_downs_of_one_block_each_make_a_point_together() -> None:
    """A slow node, and a key that is down for half a minute: none is lost."""
    rng = Random("slow")
    course = begun(rng, 3)
    spoken(course, rng, 400.0, idle_a=0.5, blocks=1)
    assert course.close(2.0) is None
    spoken(course, rng, 460.0, idle_a=0.5, blocks=1)
    known = course.close(2.0)
    assert known is not None
    assert known.gains.count == 4
    assert list(known.gains._points)[-1][0] == pytest.approx(430.0)
