"""Whether the heatsink's reading falls away from its devices' cases, which nothing but its sensor does.

Air, fan and door take heatsink and cases down alike, a dry pad takes its case up; that a heatsink cools by some kelvin
and its cases, with the same heat in them, do not, leaves the sensor.
"""

from collections import deque
from collections.abc import Sequence
from math import exp, isfinite, nan
from typing import NamedTuple

from alerts.types import Event, Finding, Priority
from alerts.watch import NOTHING, Condition, Terms
from sensors.types import CASES, HEATSINK, Frame

#: one sample each so many seconds, and how many are looked back on
_EVERY_S, _KEPT = 10.0, 30
#: heat follows with this time constant, s: cases do about the same
_HEAT_S = 40.0
#: the heatsink must have fallen by so much, K, and each case by less than this part of it
_FALL_K, _ALONG = 3.0, 0.3
#: heat counts as the same within this part of it, and under this, W, tells nothing
_SAME, _LEAST_W = 0.15, 3.0


class _Sample(NamedTuple):
    clock_s: float
    heatsink_c: float
    heat_w: float
    cases_c: tuple[float, ...]


class Strays:
    """Part of the rule ``sensor-fault``; not applicable to a bay without cases. Constant memory and time a frame."""

    def __init__(self, terms: Terms, rule: str) -> None:
        self._estimates = terms.estimates
        self._condition = Condition(terms, rule, "heatsink apart", Priority.TRIP, _EVERY_S)
        self._line: deque[_Sample] = deque(maxlen=_KEPT)
        self._sums: list[float] = []
        self._count = 0
        self._from_s = self._last_s = self._heat_w = nan

    def step(self, frame: Frame) -> Sequence[Finding]:
        """Judge one frame: the sample that it closed, if it closed one."""
        values = frame.values
        cases = [c for c in values[CASES] if isfinite(c)]
        heat_w = self._estimates.dissipation_w
        if not cases or not isfinite(values[HEATSINK] + heat_w):
            return NOTHING
        dt_s = frame.clock_s - self._last_s
        self._last_s = frame.clock_s
        row = [values[HEATSINK], *cases]
        if not 0.0 < dt_s < _EVERY_S or len(row) != len(self._sums):
            self._heat_w = heat_w
            self._line.clear()
            self._begin(frame.clock_s, row)
            return NOTHING
        self._heat_w += (heat_w - self._heat_w) * (1.0 - exp(-dt_s / _HEAT_S))
        self._sums = [a + b for a, b in zip(self._sums, row, strict=True)]
        self._count += 1
        if frame.clock_s - self._from_s < _EVERY_S:
            return NOTHING
        heatsink_c, *means_c = [a / self._count for a in self._sums]
        sample = _Sample(frame.clock_s, heatsink_c, self._heat_w, tuple(means_c))
        self._begin(frame.clock_s, row)
        return self._judge(sample, frame)

    def _begin(self, clock_s: float, row: list[float]) -> None:
        self._from_s, self._sums, self._count = clock_s, row, 1

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
            f"heatsink reads {now.heatsink_c:.1f} °C, {fall_k:.1f} K less than {now.clock_s - old.clock_s:.0f} s ago, "
            "while no case has cooled with it for the same heat: its sensor has come off or reads something else; look "
            "at how it is fixed to the heatsink"
        )
        return [self._condition.finding(event, frame.time_ns, text, unit="K", value=fall_k, limit=_FALL_K)]

    def _apart(self, old: _Sample, now: _Sample) -> bool:
        fall_k = old.heatsink_c - now.heatsink_c
        return (
            fall_k > _FALL_K
            and now.heat_w > _LEAST_W
            and abs(old.heat_w - now.heat_w) < _SAME * now.heat_w
            and all(a - b < _ALONG * fall_k for a, b in zip(old.cases_c, now.cases_c, strict=True))
        )
