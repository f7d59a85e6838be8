"""Delivery put together: one thread that books what is to be told, one a target that tells it, one for the brokers.

Nothing of it is on the safety loop's way: it learns of alerts from the catalog, after they were kept.
"""

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy.exc import DBAPIError

from daemon.api.tell_models import TellsView, TellTried
from daemon.config import MqttTable, RackFile, TellTable
from daemon.delivery.courier import Courier, Send
from daemon.delivery.line import Line
from daemon.delivery.message import trial
from daemon.delivery.outbox import Booked, Outbox
from daemon.delivery.retained import Retained
from daemon.delivery.teller import AGAIN_S, Teller
from daemon.errors import BadFile, NoSuch, Problem, SendFailed
from daemon.files import read_text
from sensors.backoff import Backoff
from sensors.types import Clock

#: how often the catalog is asked for changes; the store commits them twice a second
POLL_S = 0.5
#: how long a send may go on when the daemon stops; then it is killed, and sent again at the next start
GRACE_S = 2.0


class Delivery:
    """Everybody who is told of one rack's alerts; also a context manager. Raises BadFile for a URL's file."""

    def __init__(
        self,
        config: RackFile,
        catalog: Path,
        *,
        send: Send | None = None,
        clock: Clock = time.monotonic,
        wall_ns: Callable[[], int] = time.time_ns,
        backoff: Callable[[], Backoff | None] = lambda: None,
        poll_s: float = POLL_S,
    ) -> None:
        self._tell = config.tell
        self._rack, self._page_url = config.rack.name, config.rack.page_url
        self._wall_ns, self._poll_s = wall_ns, poll_s
        self._courier = Courier()
        self._send = send or self._courier.send
        self._outbox = Outbox(catalog, wall_ns)
        self._tellers = {
            table.name: Teller(
                table,
                url_of(table),
                self._outbox,
                self._send,
                line=Line(clock, backoff()),
                page_url=self._page_url,
                wall_ns=wall_ns,
            )
            for table in config.tell
        }
        brokers = [table for table in config.link if isinstance(table, MqttTable)]
        self._retained = Retained(self._rack, brokers, self._outbox.open_alerts)
        self._stop = threading.Event()
        self._trouble = ""
        self._thread = threading.Thread(target=self._run, name="delivery", daemon=True)

    def start(self) -> None:
        """Begin with what an earlier run left."""
        for teller in self._tellers.values():
            teller.start()
        self._retained.start()
        self._thread.start()

    def stop(self) -> None:
        """End all threads, within seconds; what was not told stays in the outbox."""
        self._stop.set()
        for teller in self._tellers.values():
            teller.ask_to_stop()
        ends_s = time.monotonic() + GRACE_S
        for teller in self._tellers.values():
            teller.join(max(0.0, ends_s - time.monotonic()))
        self._courier.close()
        for teller in self._tellers.values():
            teller.join(GRACE_S)
        self._retained.stop()
        if self._thread.ident is not None:
            self._thread.join(GRACE_S)

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, err: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def wake(self) -> None:
        """The injected clock has moved."""
        for teller in self._tellers.values():
            teller.wake()

    @property
    def error(self) -> str:
        """Who can't be told and why, in sentences; empty when all is well."""
        said = [f"Alerts can't be read, so nobody is told: {self._trouble}."] if self._trouble else []
        if self._thread.ident is not None and not self._thread.is_alive() and not self._stop.is_set():
            said.append("The thread that looks for alerts to tell has died: start the daemon again.")
        said += [teller.error for teller in self._tellers.values()]
        return " ".join(sentence for sentence in said if sentence)

    def view(self) -> TellsView:
        """Each target and each broker as it stands."""
        try:
            counts = self._outbox.counts()
        except DBAPIError:
            counts = {}
        targets = [teller.view(counts.get(name, {})) for name, teller in self._tellers.items()]
        return TellsView(error=self.error, targets=targets, brokers=self._retained.views())

    def test(self, target: str | None = None) -> list[TellTried]:
        """Send a test message to one target, or to all at once, and say what happened; raises NoSuch."""
        if target is not None and target not in self._tellers:
            raise NoSuch("target", target, list(self._tellers))
        names = list(self._tellers) if target is None else [target]
        if not names:
            return []
        with ThreadPoolExecutor(len(names), thread_name_prefix="tell test") as pool:
            return list(pool.map(self._test, names))

    def _test(self, name: str) -> TellTried:
        tried = try_once(self._send, self._tellers[name].url, self._rack, name, self._page_url)
        if tried.ok:
            self._tellers[name].hurry()
        return tried

    def _run(self) -> None:
        begun = False
        while not self._stop.is_set():
            try:
                more = begun and self._book()
                if not begun:
                    self._hand_out(self._outbox.waiting(self._tell))
                    begun = more = True
                self._trouble = ""
            except DBAPIError as err:
                self._trouble, more = str(err.orig), False
                self._stop.wait(AGAIN_S)
            if not more:
                self._stop.wait(self._poll_s)

    def _book(self) -> bool:
        made, changed = self._outbox.book(self._tell)
        if changed:
            self._retained.changed()
        self._hand_out(made)
        return changed

    def _hand_out(self, made: list[Booked]) -> None:
        # a wall clock that was wrong when it was booked holds nothing back for longer than rack.toml says
        longest_s = 60 * sum(table.escalate_after_min for table in self._tell)
        for booked in made:
            left_s = (booked.next_try_ns - self._wall_ns()) / 1e9
            in_s = min(max(0.0, left_s), longest_s) if booked.escalation else 0.0
            self._tellers[booked.target].add(booked, in_s)


def try_once(send: Send, url: str, rack: str, target: str, page_url: str) -> TellTried:
    """Send a test message and say what happened."""
    began_s = time.monotonic()
    why = ""
    try:
        send(url, trial(rack, target, page_url))
    except SendFailed as err:
        why = err.why
    return TellTried(target=target, ok=not why, why=why, took_s=round(time.monotonic() - began_s, 2))


def url_of(table: TellTable) -> str:
    """A target's URL, from rack.toml or from the file that it names; raises BadFile."""
    if table.url is not None:
        return table.url.get_secret_value()
    assert table.url_file is not None
    url = read_text(table.url_file).strip()
    if "://" not in url or len(url.split()) != 1:
        what = "holds no apprise URL: one line, which begins with a word and ://"
        raise BadFile(table.url_file, [Problem("", what)])
    return url
