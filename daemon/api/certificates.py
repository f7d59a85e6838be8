"""The part of the control API that makes certificates; in the history process, never beside the safety loop."""

import threading
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import FastAPI, Response

from daemon.config import WorkshopTable

if TYPE_CHECKING:
    from daemon.certificate.make import Certificates

_KINDS = {"pdf": "application/pdf", "html": "text/html; charset=utf-8"}


#: after a job was first looked at: its curves go first
LOAD_AFTER_S = 3.0
#: after the start of their process, also where nobody has looked at a job: a start has enough to do
LOAD_ANYWAY_S = 20.0


def load_after(wait_s: float) -> None:
    """Load what draws and sets certificates, so long from now: the first would take two seconds longer than others."""

    def load() -> None:
        from daemon.certificate import make  # noqa: PLC0415

        make.warm_up()

    later = threading.Timer(wait_s, load)
    later.daemon = True
    later.start()


def add_certificates(app: FastAPI, data: Path, workshop: WorkshopTable) -> Callable[[], None]:
    """Add the routes ``/v1/jobs/{job}/certificate.pdf`` and ``.html``.

    What is given back has what they need loaded soon.
    """

    @cache
    def certificates() -> "Certificates":
        # what draws and sets takes seconds to load: never with the app
        from daemon.certificate.make import Certificates  # noqa: PLC0415

        return Certificates(data, workshop)

    begun = False

    def load() -> None:
        nonlocal begun
        if begun:
            return
        begun = True
        load_after(LOAD_AFTER_S)

    # not async: made on a thread of the pool
    @app.get("/v1/jobs/{job}/certificate.pdf", response_class=Response)
    def pdf(job: int) -> Response:
        return _answer(job, "pdf", certificates().pdf(job))

    @app.get("/v1/jobs/{job}/certificate.html", response_class=Response)
    def html(job: int) -> Response:
        return _answer(job, "html", certificates().html(job))

    return load


def _answer(job: int, ending: str, content: bytes) -> Response:
    named = {"content-disposition": f'attachment; filename="certificate-job-{job}.{ending}"'}
    return Response(content, media_type=_KINDS[ending], headers=named)
