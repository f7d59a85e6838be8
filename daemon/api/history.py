"""The part of the control API that tells what was kept. In the daemon it runs as a process of its own.

A 24-hour curve is decoded in C calls that hold the interpreter's lock for 50 ms at a time; within the daemon each
of them would hold up the safety loop for as long.
"""

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Annotated

from fastapi import FastAPI, HTTPException, Query

from daemon.api.certificates import add_certificates
from daemon.api.compare import add_compare
from daemon.api.exports import add_exports
from daemon.api.guard import add_guard
from daemon.api.lots import add_lots
from daemon.api.models import CurvesView, JobView
from daemon.booking.kept import Bookings
from daemon.config import WorkshopTable
from daemon.store.reader import CATALOG, Reader


def build_history(data: Path, host: str, workshop: WorkshopTable) -> FastAPI:
    """The app of the history process; the store's files may come to be only after it is made."""
    app = FastAPI(docs_url=None, redoc_url=None)
    add_guard(app, host)

    @cache
    def reader() -> Reader:
        return Reader(data)

    load = add_certificates(app, data, workshop)  # here alone: half a second of a processor each
    # who looks at a finished job may ask for its certificate next
    add_history(app, reader, lambda job: None if job.ended_ns is None else load())
    add_lots(app, reader, lambda: Bookings(data / CATALOG))
    return app


def add_history(
    app: FastAPI, reader: Callable[[], Reader], looked_at: Callable[[JobView], None] = lambda job: None
) -> None:
    """Add the routes that only read what was kept; ``looked_at`` hears of each job that is asked for by itself."""

    @app.get("/v1/jobs")
    def jobs() -> list[JobView]:
        return reader().jobs()

    @app.get("/v1/jobs/{job}")
    def job_of(job: int) -> JobView:
        found = reader().job(job)
        looked_at(found)
        return found

    @app.get("/v1/jobs/{job}/curves")
    def curves(
        job: int,
        from_s: Annotated[float | None, Query(allow_inf_nan=False)] = None,
        to_s: Annotated[float | None, Query(allow_inf_nan=False)] = None,
        points: Annotated[int, Query(ge=10, le=20_000)] = 2000,
    ) -> CurvesView:
        if from_s is not None and to_s is not None and not from_s < to_s:
            raise HTTPException(422, "from_s: must be less than to_s")
        return reader().curves(job, from_s, to_s, points)

    add_exports(app, reader)
    add_compare(app, reader)
