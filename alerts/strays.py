"""Whether the heatsink's reading falls away from its devices' cases, which nothing but its sensor does.

Air, fan and door take heatsink and cases down alike, a dry pad takes its case up; that a heatsink cools by some kelvin
and its cases, with the same heat in them, do not, leaves the sensor.
"""

from collections import deque
from collections.abc import Sequence
from math import exp, isfinite, nan
from statistics import median
from typing import NamedTuple

from alerts.types import Event, Finding, Priority
from alerts.watch import NOTHING, Condition, Terms, span
from sensors.types import CASES, HEATSINK, Frame

#: one sample each so many seconds, and how many are looked back on
_EVERY_S, _KEPT = 10.0, 60
#: temperatures and heat are followed with this time constant, s: so the cases' own delay cancels over the key's cycles
_SLOW_S = 120.0
#: the heatsink must have fallen by so much, K, and each case by less than this part of it
_FALL_K, _ALONG = 2.0, 0.3
#: heat counts as the same within this part of it, and under this, W, tells nothing
_SAME, _LEAST_W = 0.1, 3.0


class _Sample(NamedTuple):
    clock_s: float
    heatsink_c: float
    heat_w: float
    rises: bool  # the heat, since the sample before: on its way up the cases are behind it, on its way down ahead
    cases_c: tuple[float, ...]


class Strays:
    """Part of the rule ``sensor-fault``; not applicable to a bay without cases. Constant memory and time a frame."""

    def __init__(self, terms: Terms, rule: str) -> None:
        self._estimates = terms.estimates
        self._condition = Condition(terms, rule, "heatsink apart", Priority.TRIP, _EVERY_S)
        self._line: deque[_Sample] = deque(maxlen=_KEPT)
        self._rows: list[list[float]] = []
        self._slow: list[float] = []
        self._from_s = self._last_s = nan

    def step(self, frame: Frame) -> Sequence[Finding]:
        """Judge one frame: the sample that it closed, if it closed one."""
        values = frame.values
        cases = [c for c in values[CASES] if isfinite(c)]
        heat_w = self._estimates.dissipation_w
        if not cases or not isfinite(values[HEATSINK] + heat_w):
            return NOTHING
        row = [values[HEATSINK], heat_w, *cases]
        gap_s = frame.clock_s - self._last_s
        self._last_s = frame.clock_s
        if not 0.0 < gap_s < _EVERY_S or len(row) != len(self._rows[0]):
            self._rows, self._from_s = [row], frame.clock_s
            self._slow.clear()
            self._line.clear()
            return NOTHING
        self._rows.append(row)
        seconds = frame.clock_s - self._from_s
        if seconds < _EVERY_S:
            return NOTHING
        # the median: a single spike is none of it
        newest = [median(column) for column in zip(*self._rows, strict=True)]
        self._rows, self._from_s = [row], frame.clock_s
        share = 1.0 - exp(-seconds / _SLOW_S)
        before = self._slow or newest
        slow = self._slow = [a + share * (b - a) for a, b in zip(before, newest, strict=True)]
        return self._judge(_Sample(frame.clock_s, slow[0], slow[1], slow[1] > before[1], tuple(slow[2:])), frame)

    def _judge(self, now: _Sample, frame: Frame) -> Sequence[Finding]:
        line = self._line
        told = [(old, old.heatsink_c - now.heatsink_c) for old in line if self._apart(old, now)]
        line.append(now)
        if not told and self._condition.quiet:
            return NOTHING
        # what is said stands until the heatsink is read warmer than its cases would have it again: with another heat
        # nothing is told
        alike = [old for old in line if abs(old.heat_w - now.heat_w) < _SAME * now.heat_w]
        event = self._condition.judge(bool(told) if len(alike) > 1 else None, frame.clock_s, _EVERY_S)
        if event is None:
            return NOTHING
        if event is Event.RETURNED:
            text = "heatsink goes with its devices' cases again"
            return [self._condition.finding(event, frame.time_ns, text, unit="K")]
        old, fall_k = max(told, key=lambda one: one[1])
        text = (
            f"heatsink reads {frame.values[HEATSINK]:.1f} °C, some {fall_k:.1f} K less than "
            f"{span(now.clock_s - old.clock_s)} before, while no case has cooled with it for the same heat: its sensor "
            "has come off or reads something else; look at how it is fixed to the heatsink"
        )
        return [self._condition.finding(event, frame.time_ns, text, unit="K", value=fall_k, limit=_FALL_K)]

    def _apart(self, old: _Sample, now: _Sample) -> bool:
        fall_k = old.heatsink_c - now.heatsink_c
        return (
            fall_k > _FALL_K
            and now.heat_w > _LEAST_W
            and now.rises is old.rises
            and abs(old.heat_w - now.heat_w) < _SAME * now.heat_w
            and all(a - b < _ALONG * fall_k for a, b in zip(old.cases_c, now.cases_c, strict=True))
        )
