"""The part of the control API that gives a job away as a file."""

from collections.abc import Callable, Iterator

from fastapi import FastAPI, Response
from fastapi.responses import FileResponse, StreamingResponse

from daemon.export import Form, pieces
from daemon.store import Reader

_KINDS = {
    Form.CSV: "text/csv; charset=utf-8",
    Form.PARQUET: "application/vnd.apache.parquet",
    Form.SENML: "application/x-ndjson",
}


def add_exports(app: FastAPI, reader: Callable[[], Reader]) -> None:
    """Add this route to the app."""

    # not async: each piece is made on a thread of the pool when the caller has taken the one before
    @app.get("/v1/jobs/{job}/export", response_class=Response)
    def export(job: int, form: Form = Form.CSV) -> Response:
        name, store = f"job-{job}.{form}", reader()
        store.job(job)
        if form is Form.PARQUET and (sealed := store.seals.good(job)) is not None:
            return FileResponse(sealed, media_type=_KINDS[form], filename=name)
        named = {"content-disposition": f'attachment; filename="{name}"'}
        return StreamingResponse(_bytes(store, job, form), media_type=_KINDS[form], headers=named)


def _bytes(store: Reader, job: int, form: Form) -> Iterator[bytes]:
    for piece, _ in pieces(store, job, form):
        if piece:
            yield piece
