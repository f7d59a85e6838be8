"""A daemon whose rules speak at a test's word, and which tells one target that is there and one that is not."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import NamedTuple, Protocol

from alerts.types import Event, Finding, Priority
from sensors.types import NAN, Frame
from tests.daemon.api_rig import serving

RACK = """
[rack]
name = "rack-1"
[api]
port = 0
[[link]]
name = "left"
kind = "serial"
port = "{port}"
[[bay]]
name = "bay-1"
link = "left"
[[bay]]
name = "bay-2"
link = "left"
[[tell]]
name = "workshop"
url = "json://127.0.0.1:{hook}/"
[[tell]]
name = "night"
url = "json://127.0.0.1:{nobody}/"
priorities = ["trip"]
escalate_from = "workshop"
"""


class Say(Protocol):
    """Have a rule speak."""

    def __call__(
        self,
        rule: str,
        text: str,
        *,
        bay: str = "bay-1",
        event: str = "raised",
        priority: str = "warning",
        value: float = NAN,
        limit: float = NAN,
        unit: str = "1",
    ) -> None: ...


class Rig(NamedTuple):
    """The daemon's address, the voice of its rules, what the target that is there was sent, a wait for the disk, and
    the way in for a frame."""

    api: str
    say: Say
    sent: list[bytes]
    flush: Callable[[], None]
    take: Callable[[Frame], None]


@contextmanager
def rig_in(folder: Path) -> Iterator[Rig]:
    """The daemon, in this process, with a soak said to run on both bays."""
    with ExitStack() as ends:
        sent: list[bytes] = []
        hook = ends.enter_context(_hook(sent))
        nobody = ends.enter_context(socket.create_server(("127.0.0.1", 0))).getsockname()[1]
        text = RACK.format(port="{port}", hook=hook, nobody=nobody)
        rack, store, address = ends.enter_context(serving(folder, text, tells=True))

        def on_loop(act: Callable[[], None]) -> None:
            rack.order(lambda _clock_s, _time_ns: act()).result(20)

        book = rack.book
        assert book is not None
        for name in ("bay-1", "bay-2"):
            on_loop(lambda name=name: book.begin(name))  # type: ignore[misc]

        def say(
            rule: str,
            text: str,
            *,
            bay: str = "bay-1",
            event: str = "raised",
            priority: str = "warning",
            value: float = NAN,
            limit: float = NAN,
            unit: str = "1",
        ) -> None:
            finding = Finding(1, bay, rule, Event(event), Priority(priority), value, limit, unit, text)
            on_loop(lambda: book.hear(0, finding))
            store.flush()

        def take(frame: Frame) -> None:
            on_loop(lambda: rack.bays[frame.bay].take(frame))

        yield Rig(address, say, sent, store.flush, take)


@contextmanager
def _hook(sent: list[bytes]) -> Iterator[int]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            sent.append(self.rfile.read(int(self.headers["content-length"])))
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Nothing: a test's own output is enough."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)
