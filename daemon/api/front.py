"""The API's front door, a process of its own: whatever is asked, however often, costs the safety loop a bounded little.

What has been kept is answered by the history process; of what the daemon itself answers, the same question is passed
on once however many ask it, its answer serves all for a fifth of a second, and only a few questions are on their
way at a time. Orders are passed on as they come.
"""

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import suppress
from dataclasses import dataclass

import httpx
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.types import Receive, Scope, Send

#: an answer serves all who ask the same for so long
FRESH_S = 0.2
#: and longer where it took long: of the daemon's time a question is to take a twentieth at most, while this allows it
SHARE = 20
FRESH_AT_MOST_S = 0.5
#: questions to the daemon at a time: each takes the interpreter from the safety loop for a while
ASKED_AT_ONCE = 2
#: the daemon answers in milliseconds; an order waits for the loop no longer than this (and a client for three seconds)
LIVE_S = 2.5
#: 24 hours at 10 Hz take about a second on a small machine; a test message waits for its target to give up
SLOW_S = 60.0
#: an idle connection is let go long before the other side does (``doors.KEPT_ALIVE_S``): else an order meets one
#: that is just being closed
IDLE_S = 5.0
HISTORY = ("/v1/jobs", "/v1/lots")
SLOW = "/v1/tell"
STREAM = "/v1/live"
EXPORT = "/export"
#: ``daemon/api/guard.py`` has it too; this process loads none of what that needs
UNTIL = "x-keysoak-until"
_MOST_KEPT = 256
_SILENT = "the safety loop does not answer: pull the key lines by hand"
_NO_HISTORY = "what was kept can't be read now: ask again in a few seconds"
#: said between two neighbours only (RFC 9110 section 7.6.1), or by each server for itself
_HOP = frozenset({"connection", "keep-alive", "transfer-encoding", "upgrade", "te", "trailer", "content-length"})
_OWN = _HOP | {"date", "server"}


@dataclass(slots=True)
class _Asked:
    """A question that is on its way since ``asked_s``, or was answered by ``done_s``."""

    asked_s: float
    task: "asyncio.Task[Response]"
    done_s: float = 0.0

    def fresh(self, clock_s: float) -> bool:
        """Whether nobody need ask again."""
        if not self.task.done():
            return True
        fresh_s = min(max(FRESH_S, SHARE * (self.done_s - self.asked_s)), FRESH_AT_MOST_S)
        return clock_s - self.asked_s <= fresh_s


class Answers:
    """Questions on their way, and answers that are still fresh; all of them forgotten at every order."""

    def __init__(self) -> None:
        self._asked: dict[str, _Asked] = {}

    def forget(self) -> None:
        """What was asked before this moment says nothing of what is asked after it."""
        self._asked.clear()

    def known(self, question: str, clock_s: float) -> "asyncio.Task[Response] | None":
        """The answer to this question, or who is getting it."""
        asked = self._asked.get(question)
        return asked.task if asked is not None and asked.fresh(clock_s) else None

    def keep(self, question: str, clock_s: float, task: "asyncio.Task[Response]") -> None:
        """Somebody has gone to ask."""
        if len(self._asked) >= _MOST_KEPT:
            self._asked = {q: asked for q, asked in self._asked.items() if asked.fresh(clock_s)}
        asked = self._asked[question] = _Asked(clock_s, task)

        def answered(_: "asyncio.Task[Response]") -> None:
            asked.done_s = asyncio.get_running_loop().time()

        task.add_done_callback(answered)


class Front:
    """An ASGI app that hands on to the daemon's own API and to the history process."""

    def __init__(self, daemon: str, history: str) -> None:
        self._daemon, self._history = daemon, history
        self._answers = Answers()
        self._few = asyncio.Semaphore(ASKED_AT_ONCE)
        # trust_env: a proxy of the environment must never stand between a person and the unkey button
        limits = httpx.Limits(max_connections=None, max_keepalive_connections=16, keepalive_expiry=IDLE_S)
        self._http = httpx.AsyncClient(timeout=LIVE_S, trust_env=False, limits=limits)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        answer = await self._answer(Request(scope, receive, send))
        await answer(scope, receive, send)

    async def close(self) -> None:
        """Let the connections go."""
        await self._http.aclose()

    async def _answer(self, request: Request) -> Response:
        path = request.url.path
        if any(path == kept or path.startswith(kept + "/") for kept in HISTORY):
            return await self._pass_on(request, self._history, SLOW_S)
        if path == STREAM:
            return await self._pass_on(request, self._daemon, LIVE_S)
        if request.method == "GET":
            return await self._shared(request)
        self._answers.forget()
        try:
            return await self._pass_on(request, self._daemon, SLOW_S if path.startswith(SLOW) else LIVE_S)
        finally:
            self._answers.forget()

    async def _shared(self, request: Request) -> Response:
        clock_s = asyncio.get_running_loop().time()
        # the host, which the daemon checks, is part of the URL: its answer to one is none to another
        question = str(request.url)
        task = self._answers.known(question, clock_s)
        if task is None:
            task = asyncio.create_task(self._ask(request), name=question)
            self._answers.keep(question, clock_s, task)
        return await asyncio.shield(task)

    async def _ask(self, request: Request) -> Response:
        async with self._few:
            return await self._pass_on(request, self._daemon, LIVE_S)

    async def _pass_on(self, request: Request, to: str, timeout_s: float) -> Response:
        headers = [(k, v) for k, v in request.headers.items() if k not in _HOP]
        headers.append((UNTIL, f"{time.monotonic() + timeout_s:.3f}"))
        url = httpx.URL(to, raw_path=_target(request.scope))
        body = await request.body()
        asked = self._http.build_request(request.method, url, headers=headers, content=body, timeout=timeout_s)
        try:
            answer = await self._http.send(asked, stream=True)
            told = {k: v for k, v in answer.headers.items() if k not in _OWN}
            if request.url.path == STREAM:
                return StreamingResponse(_chunks(answer), answer.status_code, told)
            if request.url.path.endswith(EXPORT):
                # as it comes, for it may be larger than the memory; how long it is, where that is known
                told |= {k: v for k, v in answer.headers.items() if k == "content-length"}
                return StreamingResponse(_whole(answer), answer.status_code, told)
            return Response(await answer.aread(), answer.status_code, told)
        except httpx.HTTPError:
            return JSONResponse({"detail": _SILENT if to == self._daemon else _NO_HISTORY}, 503)


async def _chunks(answer: httpx.Response) -> AsyncIterator[bytes]:
    try:
        with suppress(httpx.HTTPError):  # the daemon has ended: so does the stream, and its listener asks anew
            async for chunk in answer.aiter_raw():
                yield chunk
    finally:
        await answer.aclose()


async def _whole(answer: httpx.Response) -> AsyncIterator[bytes]:
    # what breaks off must not look like a file that is whole: an error here ends the connection
    try:
        async for chunk in answer.aiter_raw():
            yield chunk
    finally:
        await answer.aclose()


def _target(scope: Scope) -> bytes:
    raw: bytes = scope.get("raw_path") or str(scope["path"]).encode()
    query: bytes = scope.get("query_string", b"")
    return raw + b"?" + query if query else raw
