"""A real daemon in this process (whose serial port is not there) and the dashboard that talks to it."""

import socket
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page

from daemon.api.models import Curve, CurvesView, JobView, PhaseView, PlanView, Tag
from daemon.store import Store
from daemon.store.items import JobEnded, JobStarted
from dashboard import app
from sensors.types import CHANNELS, NAN, Frame, Quality
from tests.chromium import chromium
from tests.daemon.api_rig import serving

#: any moment will do: 2025-11-25 07:00 UTC
START_NS = 1_764_054_000 * 10**9

RACK = """
[rack]
name = "rack-1"
note = "a note"
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
"""


def frame(at_s: float, **channels: float) -> Frame:
    """A frame of bay-1 with these channels alone."""
    given = {name.replace("_", "-"): value for name, value in channels.items()}
    values = tuple(given.get(name, NAN) for name in CHANNELS)
    quality = bytes(Quality.GOOD if name in given else Quality.MISSING for name in CHANNELS)
    return Frame("bay-1", START_NS + round(at_s * 1e9), 1000.0 + at_s, round(at_s * 2), values, quality)


def one_minute(store: Store) -> None:
    """Job 1: a minute of readings."""
    plan = '[[phase]]\ndrive = "carrier"\nminutes = 1\n'
    store.put(JobStarted(1, "J-1", "MR-25 no. 014", "bay-1", "soak", plan, {"heatsink_c": 75.0}, START_NS, 1000.0))
    for i in range(120):
        store.put(frame(i / 2, heatsink=22 + i / 10, drain_1=2.0, supply=13.8, forward=25.0, key=1.0))
    store.put(JobEnded(1, START_NS + 60 * 10**9, "pass", ["nothing was raised"], {"heatsink_max_c": 33.9}))


@contextmanager
def daemon_in(folder: Path, keep: Callable[[Store], None] = one_minute, port: int = 0) -> Iterator[str]:
    """A daemon's loop and API, with what ``keep`` puts in its store; its address."""
    with serving(folder, RACK, keep=keep, port=port) as (_, _, url):
        yield url


@contextmanager
def served(api: str, port: int = 0, names: Sequence[str] = ()) -> Iterator[int]:
    """The dashboard on a real socket, on a thread; its port."""
    listener = socket.create_server(("127.0.0.1", port))
    built = app.build(api, names)
    server = uvicorn.Server(uvicorn.Config(built, log_level="warning", access_log=False))
    thread = threading.Thread(target=server.run, args=([listener],))
    thread.start()
    try:
        yield listener.getsockname()[1]
    finally:
        server.should_exit = server.force_exit = True
        thread.join(10)
        listener.close()
        app.close(built)


@contextmanager
def asked(api: str, names: Sequence[str] = ()) -> Iterator[httpx.Client]:
    """The dashboard, asked as a browser on this machine asks."""
    with served(api, names=names) as port, httpx.Client(base_url=f"http://127.0.0.1:{port}", trust_env=False) as client:
        yield client


@pytest.fixture(scope="session")
def api(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a daemon that lives as long as the tests."""
    with daemon_in(tmp_path_factory.mktemp("daemon")) as url:
        yield url


@pytest.fixture(scope="session")
def address(api: str) -> Iterator[str]:
    """Where its dashboard is served."""
    with served(api) as port:
        yield f"http://127.0.0.1:{port}"


@pytest.fixture(scope="session")
def page(address: str) -> Iterator[httpx.Client]:
    """The dashboard, asked as a browser on this machine asks."""
    with httpx.Client(base_url=address, trust_env=False) as client:
        yield client


@pytest.fixture
def alone() -> Iterator[httpx.Client]:
    """A dashboard whose daemon is not there."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    with asked(f"http://127.0.0.1:{port}") as client:
        yield client


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Of each file its own: while one runs, no other test could run an event loop of its own."""
    with chromium() as browser:
        yield browser


@pytest.fixture(scope="module")
def profile(browser: Browser) -> Iterator[BrowserContext]:
    """One visitor's browser, which has what it has loaded before."""
    context = browser.new_context()
    yield context
    context.close()


@pytest.fixture
def tab(profile: BrowserContext) -> Iterator[Page]:
    """A tab whose console had no complaint and that asked for nothing from elsewhere; nothing is remembered of it."""
    tab = profile.new_page()
    complaints: list[str] = []
    tab.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    tab.on("pageerror", lambda err: complaints.append(str(err)))
    tab.on("request", lambda asked: complaints.append(asked.url) if "//127.0.0.1:" not in asked.url else None)
    yield tab
    if tab.url.startswith("http"):
        tab.evaluate("() => { localStorage.clear(); sessionStorage.clear(); }")
    tab.close()
    profile.clear_cookies()
    # a server that a test stopped itself, and a plan that it had refused, are no complaints
    known = ("ERR_CONNECTION", "status of 422", "status of 409", "data:", "blob:")
    assert [c for c in complaints if not any(word in c for word in known)] == []


PLAN = PlanView(
    name="soak",
    total_s=600.0,
    phases=[
        PhaseView(drive="off", start_s=0.0, end_s=60.0),
        PhaseView(drive="carrier", start_s=60.0, end_s=600.0, on_s=60.0, off_s=60.0),
    ],
)


def tag(at_s: float, priority: str = "warning", event: str = "raised") -> Tag:
    """A finding at so many seconds."""
    return Tag(
        at_s=at_s,
        time_ns=START_NS,
        rule="over-temperature",
        event=event,
        priority=priority,
        value=76.0,
        limit=75.0,
        unit="Cel",
        text=f"heatsink 76.0 °C at {at_s:g}",
    )


def job(number: int = 1, verdict: str | None = "pass", tags: list[Tag] | None = None, at_s: float = 0.0) -> JobView:
    """A job, running where it has no verdict."""
    started_ns = START_NS + round(at_s * 1e9)
    return JobView(
        job=number,
        number=f"J-{number}",
        unit="MR-25 no. 014",
        bay="bay-1",
        plan=PLAN,
        started_ns=started_ns,
        ended_ns=started_ns + 600 * 10**9 if verdict else None,
        verdict=verdict,
        reasons=["nothing was raised"] if verdict else [],
        figures={"heatsink_max_c": 61.2, "rise_k": None},
        limits={"heatsink_c": 75.0},
        tags=tags or [],
    )


def curves(**channels: Sequence[float | None]) -> CurvesView:
    """Curves of a job over its whole plan, evenly spaced."""
    found = []
    for name, values in channels.items():
        at_s = [600.0 * i / max(1, len(values) - 1) for i in range(len(values))]
        found.append(Curve(channel=name.replace("_", "-"), unit="Cel", at_s=at_s, value=list(values)))
    return CurvesView(job=1, from_s=0.0, to_s=600.0, frames=100, curves=found)
