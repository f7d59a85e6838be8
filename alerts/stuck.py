"""Whether a temperature that never changes is a stuck sensor, or only one at rest read in coarse steps."""

import math

from alerts.dwell import seen_s
from alerts.keyed import Drains, forward_w
from alerts.limits import Limits
from sensors.types import NAN, REFLECTED, SUPPLY, Frame

#: over how long the dissipation "before" is averaged, so that short on/off cycles count as one level
_AVERAGE_S = 120.0
#: ``stuck_sensor_j`` is meant for a sensor that reads in steps of this size; finer ones need less heat to move, to a
#: sixth, coarser ones more, to four times
_STEP_C, _FINE, _COARSE = 0.1, 1 / 6, 4.0
#: how long heat is remembered: a small error in "before" must not add up over hours at rest. Together with
#: ``stuck_sensor_j`` it says how small a change is never judged: 3000 J / 600 s = 5 W
_REMEMBERED_S = 600.0


class Dissipation:
    """What the radio turns into heat: P_D = V_S * sum(I_D) - (P_f - P_r), W, and its running average.

    ``passed_s`` is the time that the last frame adds, 0 where its dissipation is not known.
    """

    __slots__ = ("_drains", "_last_s", "mean_w", "passed_s")

    def __init__(self) -> None:
        self._drains = Drains()
        self._last_s = NAN
        self.mean_w = NAN
        self.passed_s = 0.0

    def of(self, frame: Frame, sample_s: float) -> float:
        """The dissipation at one frame, W, nan where it can't be told."""
        currents = self._drains.look(frame)
        if not currents:
            self.passed_s = 0.0
            return NAN
        reflected_w = frame.values[REFLECTED]
        if reflected_w != reflected_w:  # noqa: PLR0124  nan: not measured; on a dummy load it is next to nothing
            reflected_w = 0.0
        heat_w = frame.values[SUPPLY] * sum(currents) - forward_w(frame) + reflected_w
        self.take(heat_w, frame.clock_s, sample_s)
        return heat_w

    def take(self, heat_w: float, clock_s: float, sample_s: float) -> None:
        """Take one figure into the average."""
        if not math.isfinite(heat_w):
            self.passed_s = 0.0
            return
        if self.mean_w != self.mean_w:
            self.mean_w, self._last_s, self.passed_s = heat_w, clock_s, 0.0
            return
        self.passed_s = seen_s(clock_s - self._last_s, sample_s)
        self._last_s = clock_s
        self.mean_w += (heat_w - self.mean_w) * self.passed_s / (_AVERAGE_S + self.passed_s)


class Stuck:
    """One temperature: how long it has been exactly the same, and what heat should have moved it since.

    A healthy sensor at rest may well read the same for hours, in steps of 0.1 °C or of a 12-bit converter.
    It can't do so while the heatsink takes in ``stuck_sensor_j`` more, or less, than at the dissipation under
    which it came to rest: 3000 J move 5 kg of aluminium by 0.7 K (900 J/(kg K), from memory). The sensor's own
    step is learned: the smallest that it has shown.
    """

    __slots__ = ("_last", "_min_s", "_rest_w", "_step_c", "_usual_j", "heat_j", "limit_j", "same_s")

    def __init__(self, limits: Limits) -> None:
        self._min_s = limits.stuck_sensor_s
        self._usual_j = self.limit_j = limits.stuck_sensor_j
        self._step_c = math.inf
        self._last = NAN
        self._rest_w = NAN
        self.same_s = 0.0
        self.heat_j = 0.0

    def look(self, value: float, heat_w: float, dissipation: Dissipation) -> bool | None:
        """Take one reading; None where it does not tell."""
        if value != value or not math.isfinite(heat_w):  # noqa: PLR0124  nan
            return None
        if value != self._last:
            step_c = abs(value - self._last)
            if step_c < self._step_c:
                self._step_c = step_c
                self.limit_j = self._usual_j * min(max(step_c / _STEP_C, _FINE), _COARSE)
            self._last, self._rest_w = value, dissipation.mean_w
            self.same_s = self.heat_j = 0.0
            return False
        self.same_s += dissipation.passed_s
        self.heat_j += (heat_w - self._rest_w - self.heat_j / _REMEMBERED_S) * dissipation.passed_s
        return self.same_s >= self._min_s and abs(self.heat_j) >= self.limit_j
