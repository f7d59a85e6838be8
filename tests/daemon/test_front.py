"""The API's front door before a real server that counts what reaches it."""

import asyncio
import socket
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import httpx
import pytest
import uvicorn
from fastapi import Depends, FastAPI, Request
from fastapi.responses import StreamingResponse

from daemon.api import guard
from daemon.api.front import FRESH_S, UNTIL, Front


@dataclass
class Behind:
    """What stands behind the front door: it counts, and answers when it is let."""

    asked: list[str] = field(default_factory=list)
    most_at_once: int = 0
    thinks_s: float = 0.0
    now: int = 0
    open: threading.Event = field(default_factory=threading.Event)

    def app(self) -> FastAPI:
        """Its app."""
        app = FastAPI()
        self.open.set()

        @app.get("/v1/live")
        async def live() -> StreamingResponse:
            async def lines() -> AsyncIterator[bytes]:
                for _ in range(3):
                    yield b"line\n"
                    await asyncio.sleep(0.01)

            return StreamingResponse(lines(), media_type="application/x-ndjson")

        @app.get("/v1/jobs/{job}/export")
        def export(job: int, breaks: bool = False) -> StreamingResponse:
            def pieces() -> Iterator[bytes]:
                yield b"first"
                self.open.wait(10)
                if breaks:
                    raise OSError("the disk is gone")
                yield b"last"

            return StreamingResponse(pieces(), headers={} if breaks else {"content-length": "9"})

        @app.post("/v1/bays/{bay}/soak", dependencies=[Depends(guard.own_page)])
        async def soak(bay: str) -> dict[str, str]:
            self.asked.append(f"soak {bay}")
            return {"done": bay}

        @app.get("/{path:path}")
        def any_path(path: str, request: Request) -> dict[str, str | int]:
            self.now += 1
            self.most_at_once = max(self.most_at_once, self.now)
            self.open.wait(10)
            time.sleep(self.thinks_s)
            self.now -= 1
            self.asked.append(path)
            host, query = request.headers["host"], str(request.query_params)
            return {"path": path, "query": query, "host": host, "n": len(self.asked)}

        return app


class Server:
    """An app on a thread, on a port of its own."""

    def __init__(self, make: Callable[[], FastAPI | Front]) -> None:
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self.listener.getsockname()[1]}"
        self.ends = threading.Event()
        self.thread = threading.Thread(target=lambda: asyncio.run(self._run(make)))
        self.thread.start()

    async def _run(self, make: Callable[[], FastAPI | Front]) -> None:
        app = make()
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="off"))
        serving = asyncio.create_task(server.serve(sockets=[self.listener]))
        await asyncio.to_thread(self.ends.wait)
        server.should_exit = True
        await serving
        if isinstance(app, Front):
            await app.close()

    def stop(self) -> None:
        """End it."""
        self.ends.set()
        self.thread.join(10)
        self.listener.close()


@pytest.fixture
def behind() -> Behind:
    """What the front door leads to."""
    return Behind()


@pytest.fixture
def servers(behind: Behind) -> Iterator[tuple[Server, Server]]:
    """The door, and the daemon behind it, which is its own history."""
    daemon = Server(behind.app)
    door = Server(lambda: Front(daemon.url, f"{daemon.url}/"))
    yield door, daemon
    behind.open.set()
    door.stop()
    daemon.stop()


@pytest.fixture
def http(servers: tuple[Server, Server]) -> Iterator[httpx.Client]:
    """A caller at the door."""
    with httpx.Client(base_url=servers[0].url, trust_env=False, timeout=10) as client:
        yield client


@pytest.mark.parametrize("path", ["v1/rack", "v1/jobs", "v1/lots"])
def test_the_same_question_of_many_is_asked_once(behind: Behind, http: httpx.Client, path: str) -> None:
    """Sixteen at a time, while daemon or history thinks: one question reaches it, all have its answer."""
    behind.open.clear()
    with ThreadPoolExecutor(16) as callers:
        answers = [callers.submit(http.get, f"/{path}") for _ in range(16)]
        while not behind.now:
            time.sleep(0.005)
        behind.open.set()
        assert {answer.result().json()["n"] for answer in answers} == {1}
    assert behind.asked == [path]


def test_only_a_few_questions_are_on_their_way_at_a_time(behind: Behind, http: httpx.Client) -> None:
    """Thirty different ones at once: each is answered, two at a time."""
    with ThreadPoolExecutor(30) as callers:
        answers = [callers.submit(http.get, f"/v1/bays/bay-{i}") for i in range(30)]
        assert sorted(str(a.result().json()["path"]) for a in answers) == sorted(f"v1/bays/bay-{i}" for i in range(30))
    assert behind.most_at_once <= 2


def test_an_answer_is_fresh_after_a_fifth_of_a_second_and_after_any_order(behind: Behind, http: httpx.Client) -> None:
    """Who has given an order sees what it did."""
    first = http.get("/v1/rack").json()["n"]
    http.post("/v1/bays/bay-1/soak")
    second = http.get("/v1/rack").json()["n"]
    assert second > first
    asked_s = time.monotonic()
    while http.get("/v1/rack").json()["n"] == second:
        assert time.monotonic() - asked_s < 10 * FRESH_S


def test_what_takes_long_is_asked_seldom_even_between_orders(behind: Behind, http: httpx.Client) -> None:
    """A flood beside many orders; each caller still sees what its own order did."""
    behind.thinks_s = 0.02
    began_s = time.monotonic()
    while time.monotonic() - began_s < 1.2:
        http.post("/v1/bays/bay-1/soak")
        done = len(behind.asked)
        assert http.get("/v1/rack").json()["n"] > done
    # of each twentieth of a second at work 19 are rest, but no longer than half a second
    assert behind.asked.count("v1/rack") <= 4


def test_path_query_host_and_refusals_are_passed_on_as_they_are(http: httpx.Client) -> None:
    """Neither another query nor another host is given this one's answer."""
    assert http.get("/v1/x?a=1&b=%20").json()["query"] == "a=1&b=+"
    assert http.get("/v1/x?a=2").json()["query"] == "a=2"
    assert http.get("/v1/x", headers={"host": "evil.example"}).json()["host"] == "evil.example"
    assert http.delete("/v1/x").status_code == 405
    wrong = http.post("/v1/bays/bay-1/soak", headers={"origin": "http://evil.example"})
    assert wrong.status_code == 403


def test_history_is_not_kept_back(http: httpx.Client) -> None:
    """What is read of kept jobs is asked anew each time."""
    assert [http.get("/v1/jobs/1/curves").json()["n"] for _ in range(3)] == [1, 2, 3]


def test_a_stream_is_passed_on_to_each_listener(http: httpx.Client) -> None:
    """Two listeners each hear all of it."""
    assert [http.get("/v1/live").content for _ in range(2)] == [b"line\n" * 3] * 2


def test_a_daemon_that_does_not_answer_is_said_to_be_silent(behind: Behind, http: httpx.Client) -> None:
    """503, with what to do; and it is asked again as soon as it is back."""
    behind.open.clear()
    answer = http.get("/v1/rack")
    assert answer.status_code == 503
    assert "pull the key lines by hand" in answer.json()["detail"]
    behind.open.set()
    ends_s = time.monotonic() + 5
    while http.get("/v1/rack").status_code != 200:
        assert time.monotonic() < ends_s


def test_an_order_that_its_giver_no_longer_waits_for_is_refused(servers: tuple[Server, Server], behind: Behind) -> None:
    """A daemon that stood still must not begin a soak when the person has been told that it has failed."""
    url = f"{servers[1].url}/v1/bays/bay-1/soak"
    now_s = time.monotonic()
    late = httpx.post(url, headers={UNTIL: str(now_s - 0.1)}, trust_env=False)
    assert (late.status_code, behind.asked) == (503, [])
    assert httpx.post(url, headers={UNTIL: str(now_s + 10)}, trust_env=False).status_code == 200
    assert guard.UNTIL == UNTIL


def test_a_job_s_file_comes_as_it_is_made_with_its_length(behind: Behind, http: httpx.Client) -> None:
    """Its first piece while the last one is not there yet: it may be larger than the memory."""
    behind.open.clear()
    with http.stream("GET", "/v1/jobs/7/export") as answer:
        pieces = answer.iter_raw()
        assert next(pieces) == b"first"
        behind.open.set()
        assert b"".join(pieces) == b"last"
        assert answer.headers["content-length"] == "9"


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_job_s_file_that_breaks_off_does_not_look_whole(http: httpx.Client) -> None:
    """The connection breaks, as it did behind the door."""
    with pytest.raises(httpx.HTTPError), http.stream("GET", "/v1/jobs/7/export?breaks=true") as answer:
        answer.read()
