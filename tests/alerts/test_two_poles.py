"""Radios whose heat takes its way: a near part of the heatsink, where the sensor is, a far part, a chassis, a pad.

Moved on in small steps of the same heat balance that every textbook has, C·dT/dt = P - ΣΔT/R for each part (common
practice, no source), so that whatever one pole would say of them is wrong.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random
from typing import Any

import pytest

from alerts.types import Priority
from sensors.types import Drive

Make = Callable[..., Any]
AIR = 22.0


@dataclass
class Parts:
    """Near part with the sensor, far part, air; the heat arrives through a pad. J/K, K/W, s; Cel and W inside."""

    near_j: float = 60.0
    far_j: float = 500.0
    between: float = 0.5
    to_air: float = 1.3
    pad_s: float = 5.0
    near_c: float = AIR
    far_c: float = AIR
    arriving_w: float = 0.0
    noise: Random = field(default_factory=lambda: Random("parts"))

    def step(self, watt: float, seconds: float) -> float:
        """Move on; what the sensor reads."""
        for _ in range(4):
            h = seconds / 4
            self.arriving_w += (watt - self.arriving_w) * h / self.pad_s
            flow_w = (self.near_c - self.far_c) / self.between
            self.near_c += h * (self.arriving_w - flow_w) / self.near_j
            self.far_c += h * (flow_w - (self.far_c - AIR) / self.to_air) / self.far_j
        return self.near_c + self.noise.gauss(0.0, 0.03)


def soak(
    story: Any,
    parts: Parts,
    seconds: float,
    key: Callable[[float], bool],
    *,
    drive: Drive = Drive.CARRIER,
    per_k_a: float = 0.0,
) -> list[Any]:
    """Keyed as the plan says, with the power and currents of the story's own radio: what was said, less advisories.

    Each device takes ``per_k_a`` more for each kelvin over where the heatsink is now.
    """
    from_c = parts.near_c
    sample_s = story.now.sample_s
    said, heat_w = [], 0.0
    story.now.phase_since_s = story.clock_s
    for i in range(round(seconds / sample_s)):
        asked = key(i * sample_s)
        if asked != story.now.key_asked or drive != story.now.drive:
            story.key(asked, drive)
        heatsink_c = parts.step(heat_w, sample_s)
        more_a = per_k_a * (parts.near_c - from_c) if asked else 0.0
        drains = {"drain_1": 1.90 + more_a, "drain_2": 1.88 + more_a} if asked and drive is Drive.CARRIER else {}
        said += story.run(sample_s, heatsink=heatsink_c, ambient=AIR, **drains)
        heat_w = story.judge._estimates.dissipation_w
    return [f for f in said if f.priority is not Priority.ADVISORY]


def test_a_chassis_that_still_holds_heat_is_no_fan_that_stopped(story: Make) -> None:
    """Twenty minutes of carrier, five of idle while the parts even out, and carrier again: cooling is what it was."""
    s, parts = story(sample_s=1.0), Parts(near_j=80.0, far_j=900.0, between=0.9, to_air=0.8)
    assert soak(s, parts, 1200, lambda _: True) == []
    assert soak(s, parts, 300, lambda _: True, drive=Drive.IDLE) == []
    assert soak(s, parts, 600, lambda _: True) == []


def test_heat_that_comes_late_is_no_lost_answer(story: Make) -> None:
    """A pad that dries out in mid-soak lets the heat arrive a minute and more later: the sensor is not at fault."""
    s, parts = story(sample_s=1.0), Parts(near_j=300.0, far_j=600.0)
    assert soak(s, parts, 1500, lambda at_s: at_s % 240 < 60) == []
    parts.pad_s = 80.0
    assert [f for f in soak(s, parts, 1500, lambda at_s: at_s % 240 < 60) if f.rule == "sensor-fault"] == []


def test_a_chassis_that_warms_the_sensor_at_rest_is_no_lost_answer(story: Make) -> None:
    """The fan stops at rest, and the far part's heat comes back: a fall that turns round has begun, and is true."""
    s, parts = story(sample_s=1.0), Parts(to_air=1.5)
    assert soak(s, parts, 1500, lambda at_s: at_s % 180 < 120) == []
    assert soak(s, parts, 90, lambda _: False) == []
    parts.far_c, parts.to_air = parts.near_c + 8.0, 6.0
    assert soak(s, parts, 300, lambda _: False) == []


@pytest.mark.parametrize("on_s", [20.0, 60.0])
def test_a_runaway_in_short_key_downs_is_named(story: Make, on_s: float) -> None:
    """Key-downs of twenty seconds tell a loop gain too: 60 mA a kelvin at 13.7 V and 1.8 K/W is 1.5."""
    s, parts = story(sample_s=1.0), Parts(near_j=100.0, far_j=200.0)
    cycle = 3.0 * on_s
    keyed: Callable[[float], bool] = lambda at_s: at_s % cycle < on_s  # noqa: E731
    assert soak(s, parts, 1200, keyed) == []
    said = soak(s, parts, 1200, keyed, per_k_a=0.03)
    assert "thermal-runaway" in [f.rule for f in said]


@dataclass
class Fanned(Parts):
    """With a thermostatic fan, which comes on and goes off with some kelvin between."""

    on_c: float = 50.0
    off_c: float = 45.0
    forced: float = 0.9
    still: float = 2.6

    def step(self, watt: float, seconds: float) -> float:
        if self.near_c > self.on_c:
            self.to_air = self.forced
        elif self.near_c < self.off_c:
            self.to_air = self.still
        return super().step(watt, seconds)


@pytest.mark.parametrize("still", [2.6, 4.0])
def test_how_well_it_is_cooled_under_little_heat_is_no_forecast_for_much(story: Make, still: float) -> None:
    """A key-down throughout after short ones, in which the fan has stood still between its two temperatures."""
    s, parts = story(sample_s=1.0), Fanned(80.0, 250.0, 0.4, still, still=still)
    assert soak(s, parts, 600, lambda at_s: at_s % 280 < 255) == []
    assert soak(s, parts, 2400, lambda at_s: at_s % 190 < 60) == []
    assert parts.to_air == still
    assert soak(s, parts, 600, lambda _: True) == []
    assert parts.to_air == parts.forced


def test_a_cooling_that_is_hardly_known_is_none_that_was_seen(story: Make) -> None:
    """Right after the heat has changed a window tells of what is on its way: its band is no forecast's."""
    s, parts = story(sample_s=1.0), Parts(near_j=80.0, far_j=400.0, between=0.5, to_air=1.2)
    soak(s, parts, 900, lambda _: True)
    sink = s.judge._estimates.sink
    known, sure = sink.forecast(75.0, 1e9), sink.cooling.now
    assert known is not None
    assert known.seen
    for part, seen in ((0.2, True), (0.5, False)):
        sink.cooling.now = sure._replace(sd=part * sure.w_per_k)
        told = sink.forecast(75.0, 1e9)
        assert told is not None
        assert told.seen is seen
