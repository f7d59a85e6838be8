"""A catalog to tell from, a web server that behaves as it is told, a real mail server."""

import asyncio
import json
import threading
import time
from collections.abc import Callable, Iterator
from email import message_from_bytes, policy
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from aiosmtpd.smtp import SMTP, Envelope, Session

from daemon.config import RackFile
from daemon.store import Store
from daemon.store.items import AlertChanged, AlertKept

#: any moment will do: 2025-11-25 07:00 UTC
START_NS = 1_764_054_000 * 10**9
RACK = """
[rack]
name = "rack-1"
page_url = "http://bench.example:8050/"
[[link]]
name = "left"
kind = "serial"
port = "none"
[[bay]]
name = "bay-1"
link = "left"
"""


class Hook:
    """A real web server that takes apprise's JSON; ``mode`` says how it answers, and it can go away and come back."""

    def __init__(self) -> None:
        self.mode = "take"
        self.titles: list[str] = []
        self.bodies: list[str] = []
        self.asked = 0
        self.refused: Callable[[str], bool] = lambda _: False
        self.let_go = threading.Event()
        self._server: ThreadingHTTPServer | None = None
        self.port = 0

    @property
    def url(self) -> str:
        """Where apprise sends to; the path stands for a token."""
        return f"json://127.0.0.1:{self.port}/hook-t0ken"

    def start(self) -> None:
        """Listen, on the same port as before."""
        hook = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                said = json.loads(self.rfile.read(int(self.headers["content-length"])))
                hook.asked += 1
                if hook.mode == "hang":
                    hook.let_go.wait(30)
                    return
                refuses = hook.mode == "refuse" or hook.refused(said["title"])
                if not refuses:
                    hook.titles.append(said["title"])
                    hook.bodies.append(said["message"])
                self.send_response(503 if refuses else 200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        self.port = server.server_address[1]
        self._server = server
        threading.Thread(target=server.serve_forever, args=(0.02,), name="hook", daemon=True).start()

    def stop(self) -> None:
        """Go away: connections are refused from now on."""
        self.let_go.set()
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None


@pytest.fixture
def hooks() -> Iterator[Callable[[], Hook]]:
    """Make running web servers."""
    made: list[Hook] = []

    def make() -> Hook:
        hook = Hook()
        hook.start()
        made.append(hook)
        return hook

    yield make
    for hook in made:
        hook.stop()


class Mails:
    """What a real mail server has taken."""

    def __init__(self) -> None:
        self.mails: list[EmailMessage] = []
        self.answer = "250 OK"

    async def handle_DATA(self, _server: SMTP, _session: Session, envelope: Envelope) -> str:
        """Called by aiosmtpd with each whole mail."""
        if self.answer.startswith("250"):
            assert isinstance(envelope.content, bytes)
            mail = message_from_bytes(envelope.content, policy=policy.default)
            assert isinstance(mail, EmailMessage)
            self.mails.append(mail)
        return self.answer


@pytest.fixture
def mail_server() -> Iterator[tuple[Mails, str]]:
    """A mail server on the loopback, and the apprise URL that reaches it."""
    mails = Mails()
    loop = asyncio.new_event_loop()
    server = loop.run_until_complete(loop.create_server(lambda: SMTP(mails, loop=loop), "127.0.0.1", 0))
    thread = threading.Thread(target=loop.run_forever, name="mail server")
    thread.start()
    port = server.sockets[0].getsockname()[1]
    yield mails, f"mailto://127.0.0.1:{port}/?from=bench@rack.example&to=duty@rescue.example&mode=insecure"
    loop.call_soon_threadsafe(loop.stop)
    thread.join(5)
    server.close()
    for task in asyncio.all_tasks(loop):
        task.cancel()
    loop.run_until_complete(server.wait_closed())
    loop.run_until_complete(loop.shutdown_asyncgens())
    loop.close()


class Alerts:
    """Keeps changes of alerts as the daemon does, and waits until they are on disk."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._last = 0

    def say(
        self,
        alert: int,
        change: str = "raised",
        state: str = "unacknowledged",
        *,
        told: bool | None = None,
        priority: str = "trip",
        cause: int | None = None,
        job: int | None = None,
        time_ns: int | None = None,
    ) -> int:
        """One change; gives its id."""
        self._last += 1
        kept = AlertKept(
            id=alert,
            bay=f"bay-{alert}",
            rule="over-temperature",
            subject="heatsink",
            priority=priority,
            state=state,
            beneath=state,
            job=job,
            cause=cause,
            raised_ns=START_NS,
            returned_ns=None,
            shelved_until_ns=None,
            text=f"heatsink 76.0 °C, limit 75.0 °C ({alert})",
            value=76.0,
            limit_value=75.0,
            unit="Cel",
        )
        told = change in {"raised", "worsened"} if told is None else told
        at_ns = time.time_ns() if time_ns is None else time_ns
        self.store.put(AlertChanged(self._last, kept, at_ns, change, told, kept.text))
        self.store.flush()
        return self._last


@pytest.fixture
def alerts(store: Store) -> Alerts:
    """Alerts in a store of this test's own."""
    return Alerts(store)


@pytest.fixture
def rack_of(tmp_path: Path) -> Callable[[str], RackFile]:
    """A rack.toml with these [[tell]] tables."""

    def make(tell: str) -> RackFile:
        path = tmp_path / "rack.toml"
        path.write_text(RACK + tell)
        return RackFile.from_file(path)

    return make


@pytest.fixture
def until() -> Callable[[Callable[[], object], str], None]:
    """Wait for something outside to become true; fails with its name."""

    def wait(true: Callable[[], object], what: str, timeout_s: float = 60.0) -> None:
        end_s = time.monotonic() + timeout_s
        while not true():
            assert time.monotonic() < end_s, f"did not come true: {what}"
            time.sleep(0.01)

    return wait
