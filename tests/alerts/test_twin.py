"""The rules against the twin in its own time, over the wire's packs: healthy units are let be, faults are named."""

import random
from collections import deque
from typing import Any

import pytest

from alerts.judge import Judge
from alerts.limits import Limits
from alerts.types import Event, Finding, Priority, Situation
from sensors.intake import Intake
from sensors.lease import key_pack
from sensors.twin.instant import InstantBay
from sensors.twin.spec import UnitSpec
from sensors.types import Drive, LinkStats

START_NS = 1_764_054_000 * 10**9
#: (drive, seconds, keyed) one after the other; short key-downs and long, idle before and after
COURSE = [
    (Drive.OFF, 20, False),
    (Drive.IDLE, 60, True),
    (Drive.CARRIER, 360, True),
    *[(Drive.CARRIER, s, keyed) for s in (5, 30) for _ in range(4) for keyed in (False, True)],
    (Drive.OFF, 30, False),
    (Drive.IDLE, 60, True),
    (Drive.OFF, 120, False),
]
TICK_S = 0.1


def judged(*, lag_s: float = 0.0, **spec: Any) -> list[Finding]:
    """All that is said of one unit in one course; key words and packs take up to ``lag_s`` each; a trip ends it."""
    unit = UnitSpec(bay="bay-1", **spec)
    twin, dice = InstantBay(unit, START_NS), random.Random(unit.seed)
    intake, judge = Intake({"bay-1": {}}, LinkStats()), Judge("bay-1", Limits())
    now = Situation(soaking=True, sample_s=1 / unit.rate_hz)
    words: deque[tuple[float, bytes]] = deque()
    packs: deque[tuple[float, bytes]] = deque()
    said: list[Finding] = []
    at = 0
    for drive, seconds, keyed in COURSE:
        clock_s = at * TICK_S
        if keyed != now.key_asked:
            now.asked_since_s = clock_s
        now.drive, now.key_asked, now.phase_since_s = drive, keyed, clock_s
        if not keyed:
            words.append((clock_s + lag_s, key_pack("bay-1", 0.0, on=False)))
        for _ in range(round(seconds / TICK_S)):
            if keyed and at % 10 == 0:
                words.append((at * TICK_S + lag_s, key_pack("bay-1", 3.0, on=True, tone=drive is not Drive.IDLE)))
            at += 1
            clock_s = at * TICK_S
            while words and words[0][0] <= clock_s:
                twin.hear(words.popleft()[1])
            if at % round(1 / (unit.rate_hz * TICK_S)) == 0:
                packs.append((clock_s + lag_s * dice.random(), twin.advance(clock_s - twin.clock_s)))
            else:
                twin.node.advance(clock_s)
            while packs and packs[0][0] <= clock_s:
                for frame in intake.feed(packs.popleft()[1], clock_s, START_NS):
                    said += judge.step(frame, now)
            said += judge.tick(clock_s, START_NS + round(clock_s * 1e9), now)
            if any(f.event is Event.TRIP for f in said):
                return said
    return said


@pytest.mark.parametrize("rate_hz", [0.5, 1.0, 2.0, 10.0])
@pytest.mark.parametrize("seed", [11, 12])
def test_a_healthy_unit_is_let_be(rate_hz: float, seed: int) -> None:
    """Any number of devices, drives, nodes and lags: not one word in a whole course."""
    dice = random.Random(seed * 100 + rate_hz)
    said = judged(
        seed=seed,
        rate_hz=rate_hz,
        devices=dice.choice([1, 2, 3, 4]),
        thermal_scale=dice.choice([0.05, 0.1, 1.0]),
        on_tone=dice.choice(["carrier", "two-tone", "modulated"]),
        tone=dice.random() < 0.7,
        one_shunt=dice.random() < 0.3,
        extras=("case", "load", "ambient"),
        lag_s=dice.choice([0.0, 0.1, 0.4]),
    )
    assert [f.text for f in said] == []


@pytest.mark.parametrize("rate_hz", [0.5, 2.0])
@pytest.mark.parametrize(
    ("fault", "rules", "priority"),
    [
        ({"kind": "current-hog", "ramp_s": 60}, {"current-imbalance"}, Priority.TRIP),
        ({"kind": "open-device"}, {"current-imbalance"}, Priority.TRIP),
        (
            {"kind": "thermal-runaway", "ramp_s": 30},
            {"over-current", "over-temperature", "thermal-runaway", "bias-drift"},
            Priority.TRIP,
        ),
        ({"kind": "fan-stop"}, {"over-temperature", "thermal-forecast"}, Priority.TRIP),
        ({"kind": "bad-load", "ramp_s": 30}, {"reflected-power"}, Priority.TRIP),
        ({"kind": "sagging-supply", "source_ohm": 0.3}, {"supply"}, Priority.WARNING),
        ({"kind": "stuck-key"}, {"keying"}, Priority.TRIP),
        ({"kind": "open-sensor"}, {"sensor-fault"}, Priority.TRIP),
        ({"kind": "shorted-sensor"}, {"sensor-fault"}, Priority.TRIP),
        ({"kind": "stuck-sensor"}, {"sensor-fault"}, Priority.TRIP),
    ],
    ids=lambda value: value["kind"] if isinstance(value, dict) else None,
)
def test_a_fault_is_named(fault: dict[str, Any], rules: set[str], priority: Priority, rate_hz: float) -> None:
    """Each fault with an absolute limit is called by the rule that rightly names it, and by no other."""
    said = judged(
        seed=3, rate_hz=rate_hz, thermal_scale=0.1, extras=("case",), lag_s=0.1, fault=[{**fault, "at_s": 120}]
    )
    assert {f.rule for f in said} <= rules
    assert said
    assert max(said, key=lambda f: f.priority is Priority.TRIP).priority is priority
    assert min(f.time_ns for f in said) > START_NS + 120 * 10**9
