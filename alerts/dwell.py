"""Dwell, deadband and off-delay of one limit, in constant memory and constant time a sample."""

from alerts.types import Event

#: packs of a fast node may come in bursts: so much time between two is a network's, no gap; common practice, no source
BURST_S = 0.5
#: room for the rounding of summed sample times
_ROUNDING_S = 1e-9


def seen_s(passed_s: float, sample_s: float) -> float:
    """How much of the time between two samples counts as seen: two sample times at the most, and none backwards."""
    return min(max(passed_s, 0.0), max(2 * sample_s, BURST_S))


class Dwell:
    """Says when a figure has been over ``limit`` for ``on_s``, and when back under ``limit - deadband`` for ``off_s``.

    One sample never decides: both ways take two at the least. Time between two samples counts for no more than
    two sample times, so that what nobody saw is no evidence; what was seen before a gap (or a rest between two
    key-downs) is kept. A sample under the limit takes back as much as it lasts, so that a single bad one
    neither raises an alert nor hides one. ``below`` turns the comparison round. ``nan`` is no evidence.
    """

    __slots__ = (
        "_back",
        "_began_s",
        "_count",
        "_for_s",
        "_last_s",
        "_limit",
        "_off_s",
        "_on_s",
        "_sign",
        "_toward",
        "lasted_s",
        "raised",
    )

    def __init__(self, limit: float, deadband: float, on_s: float, off_s: float, *, below: bool = False) -> None:
        self._sign = -1.0 if below else 1.0
        self._limit = limit * self._sign
        self._back = self._limit - deadband
        self._on_s = on_s - _ROUNDING_S
        self._off_s = off_s - _ROUNDING_S
        self.raised = False
        self.lasted_s = 0.0  # from the first sample of what was raised to the one that raised it
        self._restart()

    def _restart(self) -> None:
        self._count = 0
        self._for_s = 0.0
        self._last_s = self._began_s = 0.0
        self._toward = False

    @property
    def quiet(self) -> bool:
        """Nothing raised, and nothing about to be."""
        return not (self.raised or self._count)

    def feed(self, value: float, clock_s: float, sample_s: float) -> Event | None:
        """Take one sample; RAISED or RETURNED at the sample that decides it, else None."""
        figure = value * self._sign
        if figure != figure:  # noqa: PLR0124  nan
            return None
        toward = figure <= self._back if self.raised else figure > self._limit
        if not toward and not self._count:
            return None
        since_s = seen_s(clock_s - self._last_s, sample_s)
        self._last_s = clock_s
        if not toward:
            self._for_s -= since_s
            self._toward = False
            # on the way back any relapse starts the off-delay anew: an alert must not flicker
            if self.raised or self._for_s <= 0.0:
                self._restart()
            return None
        if self._toward:
            self._for_s += since_s
        elif not self._count:
            self._began_s = clock_s
        self._toward = True
        self._count += 1
        if self._count < 2 or self._for_s < (self._off_s if self.raised else self._on_s):
            return None
        self.raised = not self.raised
        self.lasted_s = clock_s - self._began_s
        self._restart()
        return Event.RAISED if self.raised else Event.RETURNED
