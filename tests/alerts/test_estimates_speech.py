"""Means of speech: they go on after its pauses, and a pause is no part of them."""

from collections.abc import Callable
from math import sqrt
from typing import Any

import pytest

from sensors.types import Drive

Make = Callable[..., Any]


def blocks(story: Any, drive: Drive, seconds: int) -> list[Any]:
    """The means of a key-down that is read every two seconds, every third reading in a pause, of 9 and of 16 W."""
    story.key(True, drive)
    found: list[Any] = []
    for i in range(seconds // 2):
        silent, watt = i % 3 == 2, 9.0 if i % 2 else 16.0
        a = 0.25 if silent else 0.25 + 0.35 * sqrt(watt)
        story.run(2.0, heatsink=40.0, forward=0.0 if silent else watt, drain_1=a, drain_2=a)
        newest = story.judge._estimates.block
        if newest is not None and (not found or newest is not found[-1]):
            found.append(newest)
    return found


def test_speech_goes_on_after_its_pauses(story: Make) -> None:
    """A slow node never reads four of one word: of 60 readings in two minutes 20 are steady, and make five means."""
    told = blocks(story(sample_s=2.0), Drive.MODULATED, 120)
    assert len(told) == 5
    for block in told:
        assert block.drive is Drive.MODULATED
        assert 3.0 <= block.root_w <= 4.0
        assert block.total_a == pytest.approx(0.5 + 0.7 * block.root_w)


def test_a_steady_drive_that_comes_and_goes_is_no_speech(story: Make) -> None:
    """What is read about the edges of a carrier that drops out is of neither side."""
    assert blocks(story(sample_s=2.0), Drive.CARRIER, 120) == []


def test_no_mean_is_of_two_key_downs(story: Make) -> None:
    """Ten seconds of speech each, with a rest between: too short for another mean, whatever was left of the last."""
    speaker = story(sample_s=2.0)
    for _ in range(10):
        blocks(speaker, Drive.MODULATED, 6)
        speaker.key(False)
        speaker.run(10.0)
    assert speaker.judge._estimates.block is None
