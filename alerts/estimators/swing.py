"""How far a temperature swings with the key, for each watt that goes on and off with it.

Over one cycle of the key the heating rate while keyed less the rate at rest is ``(P_on - P_off)/C``: what the heatsink
gives to the air cancels, however warm it is and whatever a fan does to both. So a sensor that comes off its heatsink,
however slowly, swings less than it used to, and nothing else on the bench makes it.
"""

from math import inf, nan

#: cycles that make the unit's own reference, the first whole one left out, and the least swing that one tells by, K
_REFERENCE, _LEAST_K = 3, 1.0
#: what still goes beyond both ends of its cycle by this part of the swing that is due has not lost it: through a dry
#: pad the heat comes late
_LATE = 0.3
#: under this part of the reference, for so many cycles running, the sensor no longer swings with the heat
_LOST, _RUNNING = 0.45, 3
#: cycles are compared with those of the same length alone, within this part
_SAME = 0.1
#: a difference of dissipation under this part of the reference's tells nothing
_LEAST_HEAT = 0.3
#: the temperature at an edge is a mean over this time constant, s
_SMOOTH_S = 3.0
_GAP_S = 10.0


class Swing:
    """Feed it every frame; ``lost`` says that the swing has gone, ``expected_k`` how wide it should be."""

    __slots__ = (
        "_count",
        "_edge",
        "_heat_j",
        "_high_c",
        "_keyed",
        "_last_s",
        "_low_c",
        "_on",
        "_reference",
        "_reference_w",
        "_running",
        "_smooth_c",
        "_start_c",
        "_times",
        "expected_k",
        "lost",
    )

    def __init__(self) -> None:
        self._last_s = -inf
        self._smooth_c = nan
        self._keyed = False
        self._edge: tuple[float, float] | None = None  # clock and temperature at the newest edge, None after a gap
        self._heat_j = 0.0
        self._start_c = self._low_c = self._high_c = nan  # of this cycle
        self._on: tuple[float, float, float] | None = None  # seconds, K and W of the key-down before this rest
        self._forget((0.0, 0.0))
        self.expected_k = 0.0
        self.lost = False

    def _forget(self, times: tuple[float, float]) -> None:
        self._times = times
        self._reference = self._reference_w = 0.0
        self._count = -1
        self._running = 0

    def feed(self, clock_s: float, heatsink_c: float, dissipation_w: float, keyed: bool) -> None:
        """Take one sample: temperature, Cel, and dissipation, W, at this clock, s."""
        dt_s = clock_s - self._last_s
        self._last_s = clock_s
        if not 0.0 < dt_s <= _GAP_S:
            self._edge = self._on = None
            self._smooth_c, self._keyed = heatsink_c, keyed
            return
        self._smooth_c += (heatsink_c - self._smooth_c) * dt_s / (_SMOOTH_S + dt_s)
        self._heat_j += dissipation_w * dt_s
        self._low_c, self._high_c = min(self._smooth_c, self._low_c), max(self._smooth_c, self._high_c)
        if keyed is self._keyed:
            return
        self._keyed = keyed
        before, self._edge = self._edge, (clock_s, self._smooth_c)
        heat_j, self._heat_j = self._heat_j, 0.0
        if before is None:
            return
        seconds = clock_s - before[0]
        part = (seconds, self._smooth_c - before[1], heat_j / seconds)
        if not keyed:
            self._on = part
        else:
            ends_c = (self._start_c, self._smooth_c)
            beyond_k = self._high_c - max(ends_c) + min(ends_c) - self._low_c
            self._start_c = self._low_c = self._high_c = self._smooth_c
            if self._on is not None:
                self._close(self._on, part, beyond_k)

    def _close(self, on: tuple[float, float, float], off: tuple[float, float, float], beyond_k: float) -> None:
        if any(abs(a[0] - b) > _SAME * b for a, b in zip((on, off), self._times, strict=True)):
            self._forget((on[0], off[0]))
        watt = on[2] - off[2]
        swing = on[1] / on[0] - off[1] / off[0]
        self._count += 1
        if self._count == 0 or not watt > _LEAST_HEAT * self._reference_w:
            return
        if self._count <= _REFERENCE:
            share = 1.0 / self._count
            self._reference += (swing / watt - self._reference) * share
            self._reference_w += (watt - self._reference_w) * share
            return
        # as wide as a swing of the whole cycle would be, half of it up and half of it down
        self.expected_k = self._reference * watt * on[0] * off[0] / (on[0] + off[0])
        if self.expected_k < _LEAST_K:
            return
        less = swing / watt < _LOST * self._reference and not beyond_k > _LATE * self.expected_k
        self._running = self._running + 1 if less else 0
        self.lost = self._running >= _RUNNING
