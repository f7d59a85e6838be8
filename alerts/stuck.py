"""Whether a temperature that never changes is a stuck sensor, or only one at rest read in coarse steps."""

import math

from alerts.dwell import seen_s
from alerts.keyed import Drains, forward_w
from alerts.limits import Limits
from sensors.types import NAN, REFLECTED, SUPPLY, Frame

#: ``stuck_sensor_j`` is meant for a sensor that reads in steps of this size; finer ones need less heat to move, to a
#: sixth, coarser ones more, to four times
_STEP_C, _FINE, _COARSE = 0.1, 1 / 6, 4.0
#: how long heat is remembered: what drifts by less than ``stuck_sensor_j`` in this time is never judged (3000 J: 1.7 W)
_REMEMBERED_S = 1800.0


class Dissipation:
    """What the radio turns into heat, frame by frame: P_D = V_S * sum(I_D) - (P_f - P_r), W."""

    __slots__ = ("_drains", "_last_s", "passed_s")

    def __init__(self) -> None:
        self._drains = Drains()
        self._last_s = NAN
        self.passed_s = 0.0  # the time that the last frame adds, 0 where its dissipation is not known

    def of(self, frame: Frame, sample_s: float) -> float:
        """The dissipation at one frame, W, nan where it can't be told."""
        currents = self._drains.look(frame)
        reflected_w = frame.values[REFLECTED]
        if reflected_w != reflected_w:  # noqa: PLR0124  nan: not measured; on a dummy load it is next to nothing
            reflected_w = 0.0
        heat_w = frame.values[SUPPLY] * sum(currents) - forward_w(frame) + reflected_w if currents else NAN
        if not math.isfinite(heat_w):
            self.passed_s = 0.0
            return NAN
        self.passed_s = seen_s(frame.clock_s - self._last_s, sample_s) if math.isfinite(self._last_s) else 0.0
        self._last_s = frame.clock_s
        return heat_w


class Stuck:
    """One temperature: how long it has been exactly the same, and the heat that came and went in that time.

    A heatsink whose temperature stays gives off a constant power, whatever that is; so if a reading that stays is
    true, the dissipation has stayed too. ``heat_j`` is what has come (or been missing) against the mean of the
    same stay: an hour at rest, or at one level of power, adds none, and a sensor that sticks is found out when
    the power next changes. 3000 J move 5 kg of aluminium by 0.7 K (900 J/(kg K), from memory), which a sensor
    that reads in steps of 0.1 °C must show. The sensor's own step is learned: the smallest that it has shown.
    """

    __slots__ = ("_last", "_mean_w", "_min_s", "_step_c", "_usual_j", "heat_j", "limit_j", "same_s")

    def __init__(self, limits: Limits) -> None:
        self._min_s = limits.stuck_sensor_s
        self._usual_j = self.limit_j = limits.stuck_sensor_j
        self._step_c = math.inf
        self._last = NAN
        self._mean_w = 0.0
        self.same_s = 0.0
        self.heat_j = 0.0

    def look(self, value_c: float, heat_w: float, dissipation: Dissipation) -> bool | None:
        """Take one reading and the dissipation that goes with it; None where they don't tell."""
        if not (math.isfinite(value_c) and math.isfinite(heat_w)):
            return None
        if value_c != self._last:
            step_c = abs(value_c - self._last)
            if step_c < self._step_c:
                self._step_c = step_c
                self.limit_j = self._usual_j * min(max(step_c / _STEP_C, _FINE), _COARSE)
            self._last = value_c
            self.same_s = self.heat_j = self._mean_w = 0.0
            return False
        passed_s = dissipation.passed_s
        self.same_s += passed_s
        if passed_s:
            self._mean_w += (heat_w - self._mean_w) * passed_s / self.same_s
        self.heat_j += (heat_w - self._mean_w - self.heat_j / _REMEMBERED_S) * passed_s
        return self.same_s >= self._min_s and abs(self.heat_j) >= self.limit_j
