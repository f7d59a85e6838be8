"""The part of the control API that makes certificates; in the history process, never beside the safety loop."""

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from fastapi import FastAPI, Response

from daemon.config import WorkshopTable

if TYPE_CHECKING:
    from daemon.certificate.make import Certificates

_KINDS = {"pdf": "application/pdf", "html": "text/html; charset=utf-8"}


def add_certificates(app: FastAPI, data: Path, workshop: WorkshopTable) -> None:
    """Add the routes ``/v1/jobs/{job}/certificate.pdf`` and ``.html``."""

    @cache
    def certificates() -> "Certificates":
        # what draws and sets takes a second to load: only who wants a certificate waits for it
        from daemon.certificate.make import Certificates  # noqa: PLC0415

        return Certificates(data, workshop)

    # not async: made on a thread of the pool
    @app.get("/v1/jobs/{job}/certificate.pdf", response_class=Response)
    def pdf(job: int) -> Response:
        return _answer(job, "pdf", certificates().pdf(job))

    @app.get("/v1/jobs/{job}/certificate.html", response_class=Response)
    def html(job: int) -> Response:
        return _answer(job, "html", certificates().html(job))


def _answer(job: int, ending: str, content: bytes) -> Response:
    named = {"content-disposition": f'attachment; filename="certificate-job-{job}.{ending}"'}
    return Response(content, media_type=_KINDS[ending], headers=named)
