"""A story to judge: a radio that is keyed, rested and made ill by the test, in event time."""

from collections.abc import Callable
from typing import Any

import pytest

from alerts.judge import Judge
from alerts.limits import Limits
from alerts.types import Event, Finding, Priority, Situation
from sensors.types import CHANNELS, NAN, Drive, Frame, Quality

START_NS = 1_764_054_000 * 10**9
KEYED = {"drain-1": 1.90, "drain-2": 1.88, "supply": 13.7, "forward": 25.0, "reflected": 0.05, "key": 1.0}
IDLE = {"drain-1": 0.25, "drain-2": 0.26, "supply": 13.8, "forward": 0.0, "reflected": 0.0, "key": 1.0}
REST = {"drain-1": 0.0, "drain-2": 0.01, "supply": 13.8, "forward": 0.0, "reflected": 0.0, "key": 0.0}

Value = float | Quality | Callable[[float], float] | None


class Story:
    """Feeds a Judge; the radio is healthy and obeys the key except where a test says otherwise.

    A channel given as None is missing, as a Quality has that quality, as a function is a function of the
    seconds since this run began.
    """

    def __init__(
        self, limits: Limits | None = None, *, sample_s: float = 0.5, lease_s: float = 3.0, soaking: bool = True
    ) -> None:
        self.judge = Judge("bay-1", limits or Limits(), lease_s)
        self.clock_s = 1000.0
        self.now = Situation(soaking=soaking, sample_s=sample_s, asked_since_s=self.clock_s, phase_since_s=self.clock_s)
        self.said: list[Finding] = []

    def key(self, asked: bool, drive: Drive = Drive.CARRIER, on_limit_s: float = float("inf")) -> None:
        """Lend the key or take it back, now."""
        self.now.key_asked, self.now.drive, self.now.on_limit_s = asked, drive, on_limit_s
        self.now.asked_since_s = self.clock_s

    def frame(self, run_s: float = 0.0, without: tuple[str, ...] = (), **channels: Value) -> Frame:
        """The frame of this instant."""
        usual = (IDLE if self.now.drive is Drive.IDLE else KEYED) if self.now.key_asked else REST
        # a healthy sensor moves a little
        given: dict[str, Value] = {"heatsink": 40.0 + 0.02 * (round(self.clock_s * 10) % 3), **usual}
        given |= {name.replace("_", "-"): value for name, value in channels.items()}
        values, quality = [], []
        for name in CHANNELS:
            value = None if name in without else given.get(name)
            if callable(value):
                value = value(run_s)
            if isinstance(value, Quality):
                values.append(NAN)
                quality.append(value)
            else:
                values.append(NAN if value is None else value)
                quality.append(Quality.MISSING if value is None else Quality.GOOD)
        time_ns = START_NS + round((self.clock_s - 1000.0) * 1e9)
        return Frame("bay-1", time_ns, self.clock_s, -1, tuple(values), bytes(quality))

    def run(self, seconds: float, without: tuple[str, ...] = (), **channels: Value) -> list[Finding]:
        """Let samples come for so long; what was said in that time."""
        said: list[Finding] = []
        for i in range(round(seconds / self.now.sample_s)):
            self.clock_s += self.now.sample_s
            frame = self.frame((i + 1) * self.now.sample_s, without, **channels)
            said += self.judge.step(frame, self.now)
            said += self.judge.tick(self.clock_s, frame.time_ns, self.now)
        self.said += said
        return said

    def silence(self, seconds: float, tick_s: float = 0.1) -> list[Finding]:
        """Let time pass with no sample; what was said in that time."""
        said: list[Finding] = []
        for _ in range(round(seconds / tick_s)):
            self.clock_s += tick_s
            said += self.judge.tick(self.clock_s, START_NS + round((self.clock_s - 1000.0) * 1e9), self.now)
        self.said += said
        return said


def _brief(said: list[Finding], rule: str | None = None) -> list[tuple[str, Event, Priority]]:
    return [(f.rule, f.event, f.priority) for f in said if rule is None or f.rule == rule]


@pytest.fixture(scope="session")
def story() -> Callable[..., Any]:
    """Begin a story."""
    return Story


@pytest.fixture(scope="session")
def brief() -> Callable[..., list[tuple[str, Event, Priority]]]:
    """Findings as rule, event and priority."""
    return _brief
