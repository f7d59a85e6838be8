"""How far each device's case stands over the heatsink for its heat, against this unit's own first minutes.

The resistance from case to heatsink, (T_case - T_heatsink)/P (JESD51: a difference of temperatures over the power that
makes it), is a matter of screws and pads, and none of the key, the air or the fan. Temperature and power are followed
with one slow time constant, so that the case's own delay cancels over the key's cycles.
"""

from math import exp, isfinite, nan

from alerts.estimates import Estimates
from sensors.types import CASES, DRAINS, HEATSINK, Frame

#: samples are taken no closer than this, s; both sides follow with this time constant, s
_EVERY_S, _SLOW_S = 2.0, 180.0
#: driven time before the reference begins, and in which it is taken, s
_FROM_S, _REFERENCE_S = 180.0, 300.0
#: a sample is believed within this of what has been, K, and as much again as it has been
_ROOM_K = 10.0
#: so many times the heat that it was begun at begins the reference anew
_MORE = 2.0
#: heat of one device under which nothing is told, W
_LEAST_W = 1.0


class Pad:
    """One device: how far its case stands over the heatsink, and how far it should, K; nan while nothing tells."""

    __slots__ = ("_driven_s", "_from_w", "_per_w", "_weight", "heat_w", "over_k", "should_k")

    def __init__(self) -> None:
        self._driven_s = self._from_w = self._per_w = self._weight = 0.0
        self.over_k = self.heat_w = 0.0
        self.should_k = nan

    def feed(self, seconds: float, over_k: float, heat_w: float) -> None:
        """Take one sample."""
        share = 1.0 - exp(-seconds / _SLOW_S)
        # one reading that is wrong counts for no more than this
        room_k = _ROOM_K + abs(self.over_k)
        over_k = max(min(over_k, self.over_k + room_k), self.over_k - room_k)
        self.over_k += (over_k - self.over_k) * share
        self.heat_w += (heat_w - self.heat_w) * share
        if heat_w > _LEAST_W:
            self._driven_s += seconds
        if self._driven_s < _FROM_S or self.heat_w < _LEAST_W:
            self.should_k = nan
        elif self._driven_s < _FROM_S + _REFERENCE_S:
            if self.heat_w > _MORE * self._from_w:
                # where there is little heat, as at idle, the two sensors' own difference tells most: begun anew
                self._from_w, self._weight = self.heat_w, 0.0
            self._weight += seconds
            self._per_w += (self.over_k / self.heat_w - self._per_w) * seconds / self._weight
        else:
            self.should_k = self._per_w * self.heat_w


class Pads:
    """The pads of one bay; constant memory and time a frame."""

    __slots__ = ("_last_s", "pads")

    def __init__(self) -> None:
        self._last_s = nan
        self.pads: dict[int, Pad] = {}

    def look(self, frame: Frame, estimates: Estimates) -> bool:
        """Take in one frame; whether something new is told."""
        seconds = frame.clock_s - self._last_s
        if seconds < _EVERY_S:
            return False
        self._last_s = frame.clock_s
        values = frame.values
        cases = [i for i in range(CASES.start, CASES.stop) if isfinite(values[i])]
        heat_w = estimates.dissipation_w
        if not cases or not seconds < 10.0 * _EVERY_S or not isfinite(heat_w) or not isfinite(values[HEATSINK]):
            return False
        currents = [values[DRAINS.start + i - CASES.start] for i in cases]
        total_a = sum(currents)
        # where one shunt measures all devices they are taken to share alike, which a pad does not change
        apart = len(currents) > 1 and isfinite(total_a) and total_a > 0.1
        for i, current_a in zip(cases, currents, strict=True):
            share = max(current_a, 0.0) / total_a if apart else 1.0 / len(cases)
            self.pads.setdefault(i, Pad()).feed(seconds, values[i] - values[HEATSINK], max(heat_w, 0.0) * share)
        return True
