"""The API's front door, a process of its own: whatever is asked, however often, costs the safety loop a bounded little.

What has been kept is answered by the history process, the rest by the daemon itself. Of the daemon's answers and of
the lists of all jobs the same question is passed on once however many ask it, its answer serves all for a fifth of a
second, and only a few questions are on their way at a time. Orders are passed on as they come.
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
#: of the daemon's time a question is to take a twentieth at most, orders between or not, while this allows it: beside
#: 12 orders a second, each of which makes answers old, a flood had 64 bays written out as often, 19 ms each time
SHARE = 20
FRESH_AT_MOST_S = 0.5
#: questions to the daemon at a time: each takes the interpreter from the safety loop for a while
ASKED_AT_ONCE = 2
#: lists of all that was kept, to the history process: a flood of them took a whole processor, behind which the kernel's
#: own threads, which carry a serial line's bytes, waited up to 60 ms (measured)
LISTS_AT_ONCE = 1
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
    """A question; ``sent_s`` and ``done_s`` are 0 until it is on its way, and answered."""

    task: "asyncio.Task[Response] | None" = None
    sent_s: float = 0.0
    done_s: float = 0.0

    @property
    def serves_s(self) -> float:
        """How long its answer serves, and it is not asked again."""
        return min(max(FRESH_S, self.rests_s), FRESH_AT_MOST_S)

    @property
    def rests_s(self) -> float:
        """How long it is not asked again even though its answer was forgotten."""
        return min(SHARE * (self.done_s - self.sent_s), FRESH_AT_MOST_S)


class Answers:
    """Questions on their way, and answers that are still fresh; all that were asked are forgotten at every order."""

    def __init__(self) -> None:
        self._asked: dict[str, _Asked] = {}
        self._last: dict[str, _Asked] = {}

    def forget(self) -> None:
        """What was asked before this moment says nothing of what is asked after it."""
        self._asked = {question: asked for question, asked in self._asked.items() if not asked.sent_s}

    def known(self, question: str, clock_s: float) -> "asyncio.Task[Response] | None":
        """The answer to this question, or who is getting it."""
        asked = self._asked.get(question)
        if asked is None or (asked.done_s and clock_s - asked.sent_s > asked.serves_s):
            return None
        return asked.task

    def keep(self, question: str, asked: _Asked, clock_s: float) -> _Asked:
        """Somebody is to go and ask; gives who went last."""
        if len(self._last) >= _MOST_KEPT:
            self._asked = {q: one for q, one in self._asked.items() if self.known(q, clock_s)}
            self._last = {q: one for q, one in self._last.items() if clock_s - one.sent_s < FRESH_AT_MOST_S}
        last = self._last.get(question, _Asked())
        self._asked[question] = self._last[question] = asked
        return last


class Front:
    """An ASGI app that hands on to the daemon's own API and to the history process."""

    def __init__(self, daemon: str, history: str) -> None:
        self._daemon, self._history = daemon, history
        self._answers = Answers()
        self._few = {daemon: asyncio.Semaphore(ASKED_AT_ONCE), history: asyncio.Semaphore(LISTS_AT_ONCE)}
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
        if request.method == "GET" and path in HISTORY:
            return await self._shared(request, self._history, SLOW_S)
        if any(path == kept or path.startswith(kept + "/") for kept in HISTORY):
            return await self._pass_on(request, self._history, SLOW_S)
        if path == STREAM:
            return await self._pass_on(request, self._daemon, LIVE_S)
        if request.method == "GET":
            return await self._shared(request, self._daemon, LIVE_S)
        self._answers.forget()
        try:
            return await self._pass_on(request, self._daemon, SLOW_S if path.startswith(SLOW) else LIVE_S)
        finally:
            self._answers.forget()

    async def _shared(self, request: Request, to: str, timeout_s: float) -> Response:
        clock_s = asyncio.get_running_loop().time()
        # the host, which the daemon checks, is part of the URL: its answer to one is none to another
        question = str(request.url)
        task = self._answers.known(question, clock_s)
        if task is None:
            asked = _Asked()
            last = self._answers.keep(question, asked, clock_s)
            task = asked.task = asyncio.create_task(self._ask(request, to, timeout_s, asked, last), name=question)
        return await asyncio.shield(task)

    async def _ask(self, request: Request, to: str, timeout_s: float, asked: _Asked, last: _Asked) -> Response:
        clock = asyncio.get_running_loop().time
        if last.task is not None:
            await asyncio.wait([last.task])
            await asyncio.sleep(last.sent_s + last.rests_s - clock())
        async with self._few[to]:
            asked.sent_s = clock()
            try:
                return await self._pass_on(request, to, timeout_s)
            finally:
                asked.done_s = clock()

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
