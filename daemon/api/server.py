"""The control API: live state, curves and orders over HTTP, on a thread of its own.

A slow caller or a long read here costs the safety loop nothing: state is read from what it has published, orders
are handed in, curves come from the store's own read connections.
"""

import asyncio
import socket
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Annotated, TypeVar

import uvicorn
from fastapi import Depends, FastAPI, HTTPException, Query, Request
from fastapi.responses import JSONResponse
from starlette.middleware.trustedhost import TrustedHostMiddleware

from daemon.api.alerts import add_alerts
from daemon.api.guard import own_page
from daemon.api.live import Pictures, add_live
from daemon.api.models import BayView, CurvesView, Health, JobView, RackView, Said, SoakOrder
from daemon.api.plans import add_plans
from daemon.api.tell import add_tell
from daemon.api.views import bay_view, rack_view
from daemon.config import RackFile
from daemon.delivery.delivery import Delivery
from daemon.errors import BadFile, NoSuch, Refused
from daemon.loop import Rack
from daemon.plan import Plan
from daemon.store import Store
from daemon.version import VERSION

T = TypeVar("T")

#: an order is done in one turn of the safety loop; longer than this and something is badly wrong
ORDER_S = 2.0


def build(config: RackFile, rack: Rack, store: Store, delivery: Delivery | None = None) -> FastAPI:
    """The API of one rack; without ``delivery`` nobody is told of alerts."""
    app = FastAPI(title="Keysoak control API", version=VERSION, docs_url=None, redoc_url=None)
    # a page of another site must not reach the key by a name that it points at this machine
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost", "[::1]", config.api.host])
    _add_errors(app)

    def untold() -> str:
        return delivery.error if delivery is not None else ""

    def note() -> str:
        return " ".join(filter(None, (store.error, untold()))) or config.rack.note

    _add_reading(app, config.rack.name, rack, store, note, untold)
    _add_orders(app, rack)
    add_plans(app, config.rack.data / "plans")
    add_live(app, Pictures(config.rack.name, note, rack))
    if rack.book is not None:
        add_alerts(app, rack, rack.book, store)
    if delivery is not None:
        add_tell(app, delivery)
    return app


def _add_errors(app: FastAPI) -> None:
    @app.exception_handler(NoSuch)
    async def no_such(_: Request, err: NoSuch) -> JSONResponse:
        return JSONResponse({"detail": err.why}, 404)

    @app.exception_handler(Refused)
    async def refused(_: Request, err: Refused) -> JSONResponse:
        return JSONResponse({"detail": err.why}, 409)

    @app.exception_handler(BadFile)
    async def bad_file(_: Request, err: BadFile) -> JSONResponse:
        return JSONResponse({"detail": "\n".join(str(p) for p in err.problems)}, 422)


def _add_reading(  # noqa: PLR0917  what it reads from
    app: FastAPI, name: str, rack: Rack, store: Store, note: Callable[[], str], untold: Callable[[], str]
) -> None:
    @app.get("/v1/health")
    def health() -> Health:
        return Health(
            version=VERSION,
            rack=name,
            up_s=rack.up_s(),
            frames=rack.frames,
            store_behind=store.behind,
            store_error=store.error,
            loop_lag_s=round(rack.lag_s, 4),
            tell_error=untold(),
        )

    @app.get("/v1/rack")
    def whole() -> RackView:
        return rack_view(name, note(), rack)

    @app.get("/v1/bays/{bay}")
    def one(bay: str) -> BayView:
        return bay_view(rack.find(bay), rack.link_of(bay), rack.ages()[bay])

    @app.get("/v1/jobs")
    def jobs() -> list[JobView]:
        return store.jobs()

    @app.get("/v1/jobs/{job}")
    def job_of(job: int) -> JobView:
        return store.job(job)

    @app.get("/v1/jobs/{job}/curves")
    def curves(
        job: int,
        from_s: Annotated[float | None, Query(allow_inf_nan=False)] = None,
        to_s: Annotated[float | None, Query(allow_inf_nan=False)] = None,
        points: Annotated[int, Query(ge=10, le=20_000)] = 2000,
    ) -> CurvesView:
        if from_s is not None and to_s is not None and not from_s < to_s:
            raise HTTPException(422, "from_s: must be less than to_s")
        return store.curves(job, from_s, to_s, points)


def _add_orders(app: FastAPI, rack: Rack) -> None:
    # async, straight to the loop: an unkey must not queue behind threads that read curves
    @app.post("/v1/unkey")
    async def unkey_all() -> Said:
        return Said(done="unkeyed", bays=await _wait(rack.drop(None)))

    @app.post("/v1/bays/{bay}/unkey")
    async def unkey(bay: str) -> Said:
        return Said(done="unkeyed", bays=await _wait(rack.drop(bay)))

    @app.post("/v1/bays/{bay}/soak", dependencies=[Depends(own_page)])
    async def soak(bay: str, order: SoakOrder) -> Said:
        plan = Plan.from_toml(order.plan)
        job = await _wait(rack.soak(bay, plan, order.plan, order.number, order.unit))
        return Said(done=f"job {job} has begun: {plan.name}", bays=[bay])

    @app.post("/v1/bays/{bay}/done", dependencies=[Depends(own_page)])
    async def done(bay: str) -> Said:
        await _wait(rack.done(bay))
        return Said(done="the soak goes on", bays=[bay])


async def _wait(future: "Future[T]") -> T:
    try:
        return await asyncio.wait_for(asyncio.wrap_future(future), ORDER_S)
    except TimeoutError:
        raise HTTPException(503, "the safety loop does not answer: pull the key lines by hand") from None


class ApiThread:
    """The API's server on a thread of its own, on a socket that listens already."""

    def __init__(self, app: FastAPI, listener: socket.socket) -> None:
        self._server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False))
        app.state.ending = lambda: self._server.should_exit
        self._listener = listener
        self.port: int = listener.getsockname()[1]
        self._thread = threading.Thread(target=self._server.run, args=([listener],), name="api", daemon=True)

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def stop(self) -> None:
        """Stop answering; returns when the thread has ended."""
        self._server.should_exit = True
        if self._thread.is_alive():
            self._thread.join(timeout=5)
        self._listener.close()
