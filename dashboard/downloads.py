"""A soak as a file, handed on from the daemon piece by piece, and its certificate."""

import asyncio
from collections.abc import Iterator

from fastapi import FastAPI, Request
from fastapi.responses import Response, StreamingResponse

from daemon.api.client import Client
from daemon.api.errors import ApiError, DaemonSilent
from dashboard.orders import answer

KINDS = {
    "csv": ("text/csv; charset=utf-8", "csv"),
    "parquet": ("application/vnd.apache.parquet", "parquet"),
    "senml": ("application/x-ndjson", "senml"),
}
CERTIFICATES = {"pdf": "application/pdf", "html": "text/html; charset=utf-8"}


def add_download_routes(app: FastAPI, client: Client) -> None:
    """Give ``app`` the routes ``/job/<number>/export?form=csv|parquet|senml`` and ``certificate.pdf`` or ``.html``."""

    @app.get("/job/{job}/certificate.{ending}")
    async def certificate(request: Request, job: int, ending: str) -> Response:
        try:
            made = await asyncio.to_thread(client.certificate, job, ending)
        except DaemonSilent as err:
            return answer(request, 502, failed=err.why)
        except ApiError as err:
            return answer(request, err.status or 502, failed=err.why)
        named = {"content-disposition": f'attachment; filename="certificate-job-{job}.{ending}"'}
        return Response(made, media_type=CERTIFICATES[ending], headers=named)

    @app.get("/job/{job}/export")
    async def export(request: Request, job: int, form: str = "csv") -> Response:
        if form not in KINDS:
            return answer(request, 422, failed=f"form: must be one of {', '.join(KINDS)}")
        pieces = client.export(job, form)
        try:
            # a refusal comes with the first piece, when it can still be told as one
            first = await asyncio.to_thread(next, pieces, b"")
        except DaemonSilent as err:
            return answer(request, 502, failed=err.why)
        except ApiError as err:
            return answer(request, err.status or 502, failed=err.why)
        kind, ending = KINDS[form]
        named = {"content-disposition": f'attachment; filename="job-{job}.{ending}"'}
        return StreamingResponse(_all(first, pieces), media_type=kind, headers=named)


def _all(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    yield first
    yield from rest
