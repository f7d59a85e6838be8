"""The rack as it stands now: one stream from the daemon for all tabs, and to each tab what is new to it.

A tab's web socket carries only what changed since its last message (daemon/api/deltas.py). Nothing queues: a tab that
is slow, or sleeps, is told the latest when it is ready again.
"""

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from typing import Any

import msgspec

from daemon.api.client import follow
from daemon.api.deltas import Cursor, Mirror, Patch, Picture
from daemon.api.errors import ApiError
from daemon.api.models import BayView

Clock = Callable[[], float]

#: a daemon that is gone is asked again so often; well under the 3 s in which a page must heal
AGAIN_S = 0.5
#: a tab is told at least so often that the dashboard lives, and how old the daemon's last word is
BEAT_S = 0.5
#: of the bay whose page stands open
DETAILS_S = 0.5
DETAILS = {"readings", "rules", "link", "derived"}


class Watch:
    """Follows the daemon from the first listener on, and keeps its last picture, its age, and why there is no newer."""

    def __init__(self, url: str, ask: Callable[[str], BayView], clock: Clock = time.monotonic) -> None:
        self._url, self._ask, self._clock = url, ask, clock
        self._task: asyncio.Task[None] | None = None
        self._news = asyncio.Event()
        self._picture: Picture | None = None
        self._answered_s = clock()
        self._details: dict[str, tuple[float, asyncio.Task[Patch]]] = {}
        self.error = ""

    @property
    def picture(self) -> Picture | None:
        """The rack as the daemon last said; None when it never did."""
        return self._picture

    async def whole(self, wait_s: float = 1.0) -> bytes:
        """One message with all that is known, as a listener's first."""
        await self._begin(wait_s)
        return msgspec.json.encode(self._message(Cursor()))

    async def tell(self, page: "Page") -> AsyncIterator[bytes]:
        """The messages to one tab: at once, whenever there is news, and at every beat."""
        await self._begin(BEAT_S)
        cursor = Cursor()
        while True:
            news = self._news
            message = self._message(cursor)
            if (bay := page.bay) is not None:
                message |= page.new(await self._details_of(bay))
            yield msgspec.json.encode(message)
            await _first_of(news, BEAT_S)

    def _message(self, cursor: Cursor) -> Patch:
        now_s = self._clock()
        patch = cursor.patch(self._picture, now_s) if self._picture else {}
        return {"age_s": round(now_s - self._answered_s, 3), "error": self.error, **patch}

    async def _begin(self, wait_s: float) -> None:
        if self._task is None or self._task.done():
            self._task = asyncio.create_task(self._follow(), name="follow the daemon")
        if self._picture is None and not self.error:
            await _first_of(self._news, wait_s)

    async def _follow(self) -> None:
        while True:
            mirror = Mirror()
            try:
                async for patch in follow(self._url):
                    self._answered_s, self.error = self._clock(), ""
                    self._picture = mirror.apply(patch, self._answered_s)
                    self._tell_all()
            except ApiError as err:
                self.error = err.why
                self._tell_all()
            await asyncio.sleep(AGAIN_S)

    def _tell_all(self) -> None:
        old, self._news = self._news, asyncio.Event()
        old.set()

    async def _details_of(self, bay: str) -> Patch:
        # all tabs that show a bay share one question
        asked_s, task = self._details.get(bay, (-1e9, None))
        if task is None or (task.done() and self._clock() - asked_s >= DETAILS_S):
            if len(self._details) > 256:
                self._details.clear()
            task = asyncio.create_task(asyncio.to_thread(self._fetch, bay), name=f"details of {bay}")
            self._details[bay] = (self._clock(), task)
        await asyncio.wait({task}, timeout=1.0)
        return task.result() if task.done() else {}

    def _fetch(self, bay: str) -> Patch:
        try:
            return self._ask(bay).model_dump(mode="json", include=DETAILS)
        except ApiError:
            return {}  # the stream says that the daemon is silent; a bay that is not there has none


class Page:
    """What one tab shows: it says so itself when it knows; ``bay`` is the bay whose details it wants."""

    def __init__(self) -> None:
        self.bay: str | None = None
        self._said: dict[str, Any] = {}

    def hear(self, text: str) -> None:
        """Take in what the tab says: ``{"bay": name or null}``. Anything else is let go by."""
        try:
            said = msgspec.json.decode(text)
        except msgspec.DecodeError:
            return
        bay = said.get("bay") if isinstance(said, dict) else None
        self.bay = bay if isinstance(bay, str) and len(bay) <= 64 else None
        self._said = {}

    def new(self, details: Patch) -> Patch:
        """Those of the details that the tab has not been told."""
        fresh = {key: value for key, value in details.items() if self._said.get(key) != value}
        self._said |= fresh
        return {"details": {"bay": self.bay, **fresh}} if fresh else {}


async def _first_of(news: asyncio.Event, wait_s: float) -> None:
    try:
        await asyncio.wait_for(news.wait(), wait_s)
    except TimeoutError:
        return
