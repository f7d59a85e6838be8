"""The rack as a stream for a dashboard: the whole picture first, then what changes, one JSON text a line.

Nothing is computed for a bay of which nothing moved, and no line waits in a queue: a listener that is slow is told
the latest when it is ready again.
"""

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from typing import Any

import msgspec
from fastapi import FastAPI
from fastapi.responses import StreamingResponse

from daemon.api.deltas import BayPicture, Cursor, Picture, Point
from daemon.api.views import bay_view, is_stale
from daemon.bay import Bay
from daemon.loop import Rack

#: how often the rack is looked at: with the hop to the page, a fifth of the half second in which a frame is to show
TICK_S = 0.1
#: a line is sent at least so often, so that silence is known for what it is
BEAT_S = 0.5
#: only a bay's own page shows these, and asks for them
DETAILS = frozenset({"readings", "rules", "link"})


class Pictures:
    """The rack's picture, of which only those bays are drawn anew that moved."""

    def __init__(self, name: str, note: Callable[[], str], rack: Rack) -> None:
        self._name, self._note, self._rack = name, note, rack
        self._kept: dict[str, tuple[tuple[Any, ...], BayPicture]] = {}

    def look(self) -> Picture:
        """The rack as it stands now."""
        ages, clock_s = self._rack.ages(), time.monotonic()
        bays = {bay.name: self._bay(bay, ages[bay.name], clock_s) for bay in self._rack.bays.values()}
        unacknowledged = self._rack.book.unseen if self._rack.book else 0
        return Picture(self._name, self._note(), bays, unacknowledged)

    def _bay(self, bay: Bay, age_s: float | None, clock_s: float) -> BayPicture:
        strip, waiting = bay.strip, bay.course is not None and bay.course.waiting
        key = (
            bay.last and (bay.last.time_ns, bay.last.seq),
            is_stale(bay, age_s),
            bay.status,
            bay.lent,
            bay.job,
            waiting,
            bay.supply.opened,
            bay.ended is None,
            len(strip.tags) and strip.tags[-1].time_ns if strip else None,
            len(strip.tags) if strip else None,
            int(clock_s) if bay.soaking else None,  # the plan goes on where no frame comes
        )
        kept = self._kept.get(bay.name)
        if kept is None or kept[0] != key:
            kept = self._kept[bay.name] = (key, self._draw(bay, age_s, clock_s))
        return kept[1]

    def _draw(self, bay: Bay, age_s: float | None, clock_s: float) -> BayPicture:
        view = bay_view(bay, self._rack.link_of(bay.name), age_s, whole=False)
        fields = view.model_dump(mode="json", exclude={*DETAILS, "strip", "age_s"})
        points: list[Point] = bay.strip.points if bay.strip else []
        return BayPicture(fields, points, None if age_s is None else clock_s - age_s)


def add_live(app: FastAPI, pictures: Pictures) -> None:
    """Add the route ``/v1/live``; its streams end by themselves once ``app.state.ending()``: a server that is to stop
    waits for them."""
    app.state.ending = lambda: False

    async def lines() -> AsyncIterator[bytes]:
        cursor, said_s = Cursor(), 0.0
        while not app.state.ending():
            clock_s = time.monotonic()
            patch = cursor.patch(pictures.look(), clock_s)
            if patch or clock_s - said_s >= BEAT_S:
                said_s = clock_s
                yield msgspec.json.encode(patch) + b"\n"
            await asyncio.sleep(TICK_S)

    @app.get("/v1/live")
    async def live() -> StreamingResponse:
        return StreamingResponse(lines(), media_type="application/x-ndjson")
