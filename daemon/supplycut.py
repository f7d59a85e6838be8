"""The supply cut of one bay: the last resort, when a radio goes on drawing current after it was unkeyed.

Only where the node has a supply relay, which it shows by the channel ``cut``. The node keeps the relay open over its
own restart and ours, and says so: what it says is believed. It is closed again by a person alone.
"""

from collections.abc import Sequence
from typing import Protocol

from alerts.keyed import Drains, rest_a
from alerts.limits import Limits
from alerts.rules.keying import Keying
from alerts.types import Event, Finding, Priority
from daemon.errors import Refused
from sensors.types import CUT, NAN, Frame

#: from the first unkey to the cut (the project's issue on unkeying)
PATIENCE_S = 2.0
#: current in frames over so much of this is believed; packs that a broker had kept come all in one instant
SEEN_S = 1.0
SUBJECT = "supply cut"
_LOOK = "find what kept it on, then release the bay with a note"


class Relay(Protocol):
    """How a bay's supply relay is told. It may not block."""

    def cut(self, bay: str, opened: bool) -> None:
        """Open the supply relay, or close it again."""


class SupplyCut:
    """Watches one bay between an unkey and the next loan; ``opened`` until a person releases it."""

    def __init__(self, bay: str, relay: Relay | None, lease_s: float) -> None:
        self.opened = False
        self._bay, self._relay, self._again_s = bay, relay, lease_s / 3
        self._drains = Drains()
        self._unkeyed_s = NAN  # when this daemon first took the key back since it last lent it
        self._since_s = NAN  # since when every frame has shown current
        self._last_s = NAN
        self._word_s = NAN  # when the relay was last told

    def unkeyed(self, clock_s: float) -> None:
        """The key was taken back."""
        if self._unkeyed_s != self._unkeyed_s:
            self._unkeyed_s = clock_s
            self._since_s = NAN  # what flowed before proves nothing

    def lent(self) -> None:
        """The key was lent: current is as it should be."""
        self._unkeyed_s = NAN

    def look(self, frame: Frame, sample_s: float, limits: Limits) -> Sequence[Finding]:
        """Take in a frame, and cut where it must be; what is to be said of it."""
        says_cut = frame.values[CUT]
        if self._relay is None or says_cut != says_cut:  # noqa: PLR0124  nan: a node without a relay
            return ()
        if self.opened:
            self._insist(frame.clock_s, opened=says_cut == 1.0)
            return ()
        if says_cut == 1.0:
            return self._believe(frame)
        total_a, limit_a = self._currents(frame, limits)
        if not total_a > limit_a:
            self._since_s = NAN
            return ()
        # a silence proves nothing of the time that it lasted
        silent = not frame.clock_s - self._last_s <= max(3 * sample_s, SEEN_S)
        self._last_s = frame.clock_s
        if silent or self._since_s != self._since_s:
            self._since_s = frame.clock_s
        late = frame.clock_s - self._unkeyed_s >= PATIENCE_S and frame.clock_s - self._since_s >= SEEN_S
        return self._open(frame, total_a, limit_a) if late else ()

    def release(self, clock_s: float, time_ns: int, person: str, note: str) -> Finding:
        """A person has found out why: close the relay, say so. Raises Refused when it is not open."""
        if not self.opened or self._relay is None:
            raise Refused(f"the supply of {self._bay} is not cut")
        self.opened = False
        self._word_s = self._unkeyed_s = clock_s
        self._since_s = NAN
        self._relay.cut(self._bay, False)
        text = f"the supply is on again: released by {person}: {note}"
        return Finding(time_ns, self._bay, Keying.name, Event.RETURNED, Priority.TRIP, NAN, NAN, "A", text, SUBJECT)

    def _currents(self, frame: Frame, limits: Limits) -> tuple[float, float]:
        currents = self._drains.look(frame)
        total_a = sum([a for a in currents if a == a])  # noqa: PLR0124  nan
        return total_a, rest_a(len(currents), limits)

    def _open(self, frame: Frame, total_a: float, limit_a: float) -> Sequence[Finding]:
        passed_s = frame.clock_s - self._unkeyed_s
        text = (
            f"supply cut: {total_a:.2f} A of drain current, over the limit of {limit_a:g} A, "
            f"{passed_s:.1f} s after the key was taken back: {_LOOK}"
        )
        self._tell(frame.clock_s)
        return self._said(frame, total_a, limit_a, "A", text)

    def _believe(self, frame: Frame) -> Sequence[Finding]:
        if frame.clock_s - self._word_s < PATIENCE_S:
            return ()  # packs from before the release are still on their way
        text = f"supply cut: the node says that its supply relay is open: {_LOOK}"
        return self._said(frame, 1.0, 0.0, "boolean", text)

    def _said(self, frame: Frame, value: float, limit: float, unit: str, text: str) -> Sequence[Finding]:
        self.opened = True
        return [
            Finding(frame.time_ns, self._bay, Keying.name, event, Priority.TRIP, value, limit, unit, words, SUBJECT)
            for event, words in ((Event.RAISED, text), (Event.TRIP, f"unkeyed: {text}"))
        ]

    def _insist(self, clock_s: float, *, opened: bool) -> None:
        # a word can be lost on the way, and a node may have forgotten it
        if not opened and not clock_s < self._word_s + self._again_s:
            self._tell(clock_s)

    def _tell(self, clock_s: float) -> None:
        if self._relay is not None:
            self._relay.cut(self._bay, True)
            self._word_s = clock_s
