"""Who may ask and who may give orders: not the page of another site; and how a refusal is told."""

import time
from urllib.parse import urlsplit

from fastapi import FastAPI, HTTPException, Request
from fastapi.responses import JSONResponse
from starlette.middleware.trustedhost import TrustedHostMiddleware

from daemon.errors import BadFile, NoSuch, Refused, StoreUnfit


def add_guard(app: FastAPI, host: str) -> None:
    """Refuse requests to names that are not this machine's; tell the daemon's own errors as what they are."""
    # a page of another site must not reach the key by a name that it points at this machine
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost", "[::1]", host])

    @app.exception_handler(NoSuch)
    async def no_such(_: Request, err: NoSuch) -> JSONResponse:
        return JSONResponse({"detail": err.why}, 404)

    @app.exception_handler(Refused)
    async def refused(_: Request, err: Refused) -> JSONResponse:
        return JSONResponse({"detail": err.why}, 409)

    @app.exception_handler(StoreUnfit)
    async def unfit(_: Request, err: StoreUnfit) -> JSONResponse:
        # a disk that is full, ill or gone: the person reads which file and why, not "Internal Server Error"
        return JSONResponse({"detail": str(err)}, 503)

    @app.exception_handler(BadFile)
    async def bad_file(_: Request, err: BadFile) -> JSONResponse:
        return JSONResponse({"detail": "\n".join(str(p) for p in err.problems)}, 422)


#: until when, on this machine's monotonic clock, somebody waits for what an order does
UNTIL = "x-keysoak-until"


def own_page(request: Request) -> None:
    """Refuse an order that a browser sends for another site's page, or whose giver was told that it has failed.

    Unkeying is open to all, and never too late, as it harms nobody.
    """
    # a daemon that stood still finds orders at its door: a soak must not begin when nobody stands by any more
    if float(request.headers.get(UNTIL, "inf")) < time.monotonic():
        raise HTTPException(503, "the order came too late: give it again")
    origin = request.headers.get("origin")
    if origin is not None and urlsplit(origin).netloc != request.headers.get("host"):
        raise HTTPException(403, f"orders are not taken from pages of {origin}")
