"""``link-lost``: no pack for some sample times is a warning; for as long as the lease, and keyed, a trip."""

from collections.abc import Sequence
from typing import ClassVar

from alerts.types import JUDGING, Event, Finding, Priority, Situation, Standing, not_yet
from alerts.watch import NOTHING, Terms
from sensors.types import NAN, Frame

_LOOK = "look at the node's power, its cable or network, and the link's figures"

#: time passes in ticks: so much before the lease, that the word is out when the lease ends
_EARLY_S = 0.1


class LinkLost:
    """A radio that can't be seen is not kept keyed. While the key is not lent, silence harms nothing: no trip."""

    name: ClassVar[str] = "link-lost"

    def __init__(self, terms: Terms) -> None:
        self._terms = terms
        self._last_s = NAN
        self._heard = False
        self._back_since_s = NAN
        self._raised: list[Priority] = []

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Note that a pack came; a lost link is back when packs have come for a while."""
        silent_s = frame.clock_s - self._last_s
        self._last_s, self._heard = frame.clock_s, True
        if not self._raised:
            return NOTHING
        limit_s = self._warn_s(now)
        if not silent_s <= limit_s or self._back_since_s != self._back_since_s:
            self._back_since_s = frame.clock_s
        if not frame.clock_s - self._back_since_s > self._terms.limits.off_delay_s:
            return NOTHING
        raised, self._raised, self._back_since_s = self._raised, [], NAN
        text = "packs come again, and have come regularly since"
        return [self._finding(frame.time_ns, Event.RETURNED, p, text, value=silent_s, limit=limit_s) for p in raised]

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """Judge how long no pack has come."""
        silent_s = clock_s - self._last_s
        if silent_s != silent_s:  # noqa: PLR0124  nan: the soak's first moment; silence counts from here
            self._last_s = clock_s
            return NOTHING
        warn_s = self._warn_s(now)
        if not silent_s > min(warn_s, self._terms.lease_s - _EARLY_S):
            return NOTHING
        # a slow node may lose one pack like any other: its silence is judged in sample times, not in seconds
        trip_s = max(self._terms.lease_s - _EARLY_S, warn_s)
        said = []
        if silent_s > warn_s and Priority.WARNING not in self._raised:
            text = f"no pack for {silent_s:.1f} s, where one comes every {now.sample_s:g} s: {_LOOK}"
            said.append(self._raise(time_ns, Priority.WARNING, silent_s, warn_s, text))
        if silent_s > trip_s and now.key_asked and Priority.TRIP not in self._raised:
            text = f"no pack for {silent_s:.1f} s, over the {trip_s:g} s for which a key may be lent unseen: {_LOOK}"
            said.append(self._raise(time_ns, Priority.TRIP, silent_s, trip_s, text))
        return said

    def standing(self) -> Standing:
        """Judges from the first pack on."""
        return JUDGING if self._heard else not_yet("no pack has come")

    def _warn_s(self, now: Situation) -> float:
        limits = self._terms.limits
        return max(limits.silent_samples * now.sample_s, limits.silent_min_s)

    def _raise(self, time_ns: int, priority: Priority, value: float, limit: float, text: str) -> Finding:
        self._raised.append(priority)
        self._back_since_s = NAN
        return self._finding(time_ns, Event.RAISED, priority, text, value=value, limit=limit)

    def _finding(
        self, time_ns: int, event: Event, priority: Priority, text: str, *, value: float, limit: float
    ) -> Finding:
        return Finding(time_ns, self._terms.bay, self.name, event, priority, value, limit, "s", text, "link")
