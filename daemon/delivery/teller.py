"""The thread of one target: it takes the next message of its line, sends it, and marks what became of it."""

import threading
import time
from collections.abc import Callable

import structlog
from sqlalchemy.exc import DBAPIError

from daemon.api.tell_models import TellView
from daemon.config import TellTable
from daemon.delivery.courier import Send
from daemon.delivery.hush import kind_of
from daemon.delivery.line import MOST_TRIES, Line
from daemon.delivery.message import compose
from daemon.delivery.outbox import DEALT_WITH, DONE, FAILED, NEEDLESS, Booked, Outbox
from daemon.errors import SendFailed

log = structlog.get_logger()

#: before a mark that the disk did not take is tried again
AGAIN_S = 1.0


class Teller:
    """Tells one target. Whatever it waits for, it waits alone."""

    def __init__(
        self,
        table: TellTable,
        url: str,
        outbox: Outbox,
        send: Send,
        *,
        line: Line,
        page_url: str = "",
        wall_ns: Callable[[], int] = time.time_ns,
    ) -> None:
        self.table, self.url = table, url
        self._outbox, self._send, self._line = outbox, send, line
        self._page_url, self._wall_ns = page_url, wall_ns
        self._changed = threading.Condition()
        self._stop = threading.Event()
        self._sending = False
        self._failing = ""  # why the last try failed; empty when it did not
        self._disk = ""
        self._last_sent_ns: int | None = None
        self._last_error, self._last_error_ns = "", 0
        self._thread = threading.Thread(target=self._run, name=f"tell {table.name}", daemon=True)

    def start(self) -> None:
        """Begin to tell."""
        self._thread.start()

    def add(self, booked: Booked, in_s: float) -> None:
        """One more message, due in so many seconds."""
        with self._changed:
            self._line.add(booked, in_s)
            self._changed.notify()

    def hurry(self) -> None:
        """The target is known to be well: try what waits now."""
        with self._changed:
            self._line.hurry()
            self._changed.notify()

    def wake(self) -> None:
        """The clock has moved: look again."""
        with self._changed:
            self._changed.notify()

    def ask_to_stop(self) -> None:
        """Begin nothing new; what is being sent may come to its end."""
        self._stop.set()
        self.wake()

    def join(self, timeout_s: float) -> None:
        """Wait for the end of the thread."""
        if self._thread.ident is not None:
            self._thread.join(timeout_s)

    @property
    def error(self) -> str:
        """Why this target is not told, as a sentence; empty when all is well."""
        if self._disk:
            return f"{self.table.name}: what was told can't be kept: {self._disk}."
        if self._failing:
            return f"{self.table.name} can't be told ({len(self._line)} waiting): {self._failing.rstrip('.')}."
        if self._thread.ident is not None and not self._thread.is_alive() and not self._stop.is_set():
            return f"{self.table.name}: the thread that tells it has died; start the daemon again."
        return ""

    def view(self, counts: dict[str, int]) -> TellView:
        """The target as it stands, without anything of its URL but the scheme."""
        with self._changed:
            waiting, wait_s = len(self._line), self._line.wait_s()
        table, failing = self.table, self.error
        state = "failing" if failing else "sending" if self._sending else "waiting" if waiting else "idle"
        return TellView(
            target=table.name,
            kind=kind_of(self.url),
            priorities=list(table.priorities),
            escalate_from=table.escalate_from,
            escalate_after_min=table.escalate_after_min if table.escalate_from else None,
            state=state,
            error=failing,
            waiting=waiting,
            next_try_s=None if wait_s is None else round(wait_s, 1),
            sent=counts.get(DONE, 0),
            failed=counts.get(FAILED, 0),
            last_sent_ns=self._last_sent_ns,
            last_error=self._last_error,
            last_error_ns=self._last_error_ns or None,
        )

    def _run(self) -> None:
        while (booked := self._next()) is not None:
            try:
                self._sending = True
                self._tell(booked)
            except DBAPIError as err:
                self._disk = str(err.orig)
                self._stop.wait(AGAIN_S)
            finally:
                self._sending = False

    def _next(self) -> Booked | None:
        with self._changed:
            while not self._stop.is_set():
                booked = self._line.next()
                if booked is not None:
                    return booked
                self._changed.wait(self._line.wait_s())
        return None

    def _tell(self, booked: Booked) -> None:
        told = self._outbox.told(booked)
        if told is None:
            self._end(booked, NEEDLESS, DEALT_WITH)
            return
        try:
            self._send(self.url, compose(told, self._page_url))
        except SendFailed as err:
            if not self._stop.is_set():  # else it was ended by the daemon's own end: nothing is known of it
                self._missed(booked, err.why)
            return
        self._failing, self._last_sent_ns = "", self._wall_ns()
        self._end(booked, DONE, sent=True)

    def _missed(self, booked: Booked, why: str) -> None:
        if not self._failing:
            log.warning("target can't be told", target=self.table.name, why=why)
        self._failing, self._last_error, self._last_error_ns = why, why, self._wall_ns()
        with self._changed:
            wait_s = self._line.missed(booked)
        if booked.tries >= MOST_TRIES:
            self._end(booked, FAILED, why)
            return
        self._outbox.missed(booked, why, wait_s)
        self._disk = ""

    def _end(self, booked: Booked, state: str, why: str = "", *, sent: bool = False) -> None:
        # kept at it until the disk takes the mark, and before anything else is sent: it is not to be told twice
        while True:
            try:
                self._outbox.end(booked, state, why)
            except DBAPIError as err:
                self._disk = str(err.orig)
                if self._stop.wait(AGAIN_S):
                    return
            else:
                break
        self._disk = ""
        with self._changed:
            if sent:
                self._line.sent(booked)
            else:
                self._line.forget(booked)
