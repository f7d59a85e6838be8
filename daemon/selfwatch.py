"""What is wrong with the daemon itself, as alerts that belong to no bay: readings that can't be kept, a stepped clock.

It runs on the safety loop and only reads what is in memory.
"""

from collections.abc import Callable

from alerts.types import Event, Finding, Priority
from daemon.said import RACK
from sensors.types import NAN

#: of the two alerts; like a rule's name each is for good
NOT_KEPT, WALL_CLOCK = "not-kept", "wall-clock"
LOOK_S = 1.0
#: clocks that are disciplined are slewed; what is more than this between two looks was a step (common practice, no
#: source), or this machine slept
STEP_S = 2.0

Hear = Callable[[Finding], None]


class SelfWatch:
    """Tells ``hear`` what is wrong; ``trouble`` is what keeps the store from keeping, empty when all is well."""

    def __init__(self, hear: Hear, trouble: Callable[[], str]) -> None:
        self._hear, self._trouble = hear, trouble
        self._due_s = -1.0
        self._last: tuple[float, int] | None = None
        self._raised = False

    def look(self, clock_s: float, time_ns: int) -> None:
        """Look, at most once a second; ``time_ns`` is the wall clock's, as it is now."""
        if clock_s < self._due_s:
            return
        self._due_s = clock_s + LOOK_S
        if self._last is not None:
            passed_s, by_wall_s = clock_s - self._last[0], (time_ns - self._last[1]) / 1e9
            if abs(by_wall_s - passed_s) > STEP_S:
                self._stepped(by_wall_s - passed_s, time_ns)
        self._last = clock_s, time_ns
        trouble = self._trouble()
        if bool(trouble) != self._raised:
            self._raised = bool(trouble)
            event = Event.RAISED if trouble else Event.RETURNED
            text = f"{trouble} Make room on the disk." if trouble else "readings are kept on disk again"
            self._say(NOT_KEPT, event, Priority.WARNING, time_ns, text)

    def _stepped(self, step_s: float, time_ns: int) -> None:
        ahead = "ahead" if step_s > 0 else "back"
        text = (
            f"the wall clock was set {ahead} by {abs(step_s):.0f} s: soaks go on by a clock of their own, but times on "
            "pages and in files before and after it do not fit: look at what sets this machine's clock"
        )
        for event in (Event.RAISED, Event.RETURNED):
            self._say(WALL_CLOCK, event, Priority.ADVISORY, time_ns, text, step_s)

    def _say(self, name: str, event: Event, priority: Priority, time_ns: int, text: str, value: float = NAN) -> None:  # noqa: PLR0917  a finding's own order
        self._hear(Finding(time_ns, RACK, name, event, priority, value, NAN, "s", text, ""))
