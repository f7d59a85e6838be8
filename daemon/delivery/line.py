"""The messages that wait for one target: in which order and when they are tried. No thread, no disk, no wall clock."""

from daemon.delivery.outbox import Booked
from sensors.backoff import Backoff
from sensors.types import Clock

#: a mail server that is restarted is back in seconds; one that is down needs no more than a look in five minutes
FIRST_S, LONGEST_S = 2.0, 300.0
#: so often is the first in line tried alone, before it may be that it is refused for itself
PATIENCE = 4
#: a day at the longest wait; beyond it nobody wants to be told any more, and the page shows that it failed
MOST_TRIES = 300


class Line:
    """One target's messages in the order of their changes.

    A target that fails is rested, longer each time, and then begins with the same message, so that what it is told
    after an outage comes in order. When the first has failed a few times the second is tried once beside it: if
    that one goes through, it was the message and not the target, and the first is set aside until later.
    """

    def __init__(self, clock: Clock, backoff: Backoff | None = None) -> None:
        self._clock = clock
        self._backoff = backoff or Backoff(FIRST_S, LONGEST_S)
        self._waiting: dict[int, Booked] = {}  # by change
        self._due_s: dict[int, float] = {}
        self._rest_until_s = clock()
        self._beside = False

    def __len__(self) -> int:
        return len(self._waiting)

    def add(self, booked: Booked, in_s: float = 0.0) -> None:
        """One more message, which may be tried in so many seconds."""
        self._waiting[booked.change] = booked
        self._due_s[booked.change] = self._clock() + in_s

    def next(self) -> Booked | None:
        """The message to try now, if there is one."""
        now_s = self._clock()
        due = self._due(now_s)
        if not due or now_s < self._rest_until_s:
            return None
        return self._waiting[due[1] if self._beside and len(due) > 1 else due[0]]

    def _due(self, now_s: float) -> list[int]:
        return sorted(change for change, due_s in self._due_s.items() if due_s <= now_s)

    def wait_s(self) -> float | None:
        """How long until there is one; None when nothing waits."""
        if not self._due_s:
            return None
        return max(0.0, max(min(self._due_s.values()), self._rest_until_s) - self._clock())

    def sent(self, booked: Booked) -> None:
        """The target took it, so it is well; what it refused before that is set aside."""
        self.forget(booked)
        self._backoff.reset()
        self.hurry()
        if self._beside:
            self._beside = False
            for change in self._due(self._clock()):
                if change < booked.change:
                    self._due_s[change] = self._clock() + LONGEST_S

    def forget(self, booked: Booked) -> None:
        """It is needless, or has been given up; that says nothing of the target."""
        self._waiting.pop(booked.change, None)
        self._due_s.pop(booked.change, None)

    def missed(self, booked: Booked) -> float:
        """It was not taken; gives how long the target is left alone, in seconds."""
        booked.tries += 1
        due = self._due(self._clock())
        if not self._beside and booked.tries >= PATIENCE and len(due) > 1:
            self._beside = True
            return 0.0
        self._beside = False
        wait_s = self._backoff.wait_s()
        self._rest_until_s = self._clock() + wait_s
        return wait_s

    def hurry(self) -> None:
        """The target is known to be well: its rest is over."""
        self._rest_until_s = self._clock()
