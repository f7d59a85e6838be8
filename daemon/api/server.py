"""The control API within the daemon: live state and orders over HTTP, on a thread of its own behind the front door.

A slow caller or a long read here costs the safety loop nothing: state is read from what it has published, orders
are handed in. The front door (``daemon/api/front.py``) bounds how often anything here is asked.
"""

import socket
import threading
from collections.abc import Callable, Mapping

import uvicorn
from fastapi import Depends, FastAPI, Response
from starlette.concurrency import run_in_threadpool

from daemon.api.alerts import add_alerts
from daemon.api.bookings import add_bookings, as_booked, with_heat_data
from daemon.api.calibrations import add_calibrations
from daemon.api.doors import KEPT_ALIVE_S
from daemon.api.guard import add_guard, own_page
from daemon.api.history import add_history
from daemon.api.limits import add_limits
from daemon.api.live import Pictures, add_live
from daemon.api.load import must_take
from daemon.api.load_models import LoadRating
from daemon.api.lots import add_lots
from daemon.api.models import BayView, Health, RackView, Said, SoakOrder
from daemon.api.plans import add_plans
from daemon.api.release import add_release
from daemon.api.tell import add_tell
from daemon.api.views import bay_view, rack_json
from daemon.api.waiting import wait
from daemon.booking.kept import Bookings
from daemon.calibration.kept import Calibrations
from daemon.config import RackFile
from daemon.delivery.delivery import Delivery
from daemon.loop import Rack
from daemon.plan import Plan
from daemon.store import Store
from daemon.store.reader import CATALOG
from daemon.version import VERSION


def build(config: RackFile, rack: Rack, store: Store, delivery: Delivery | None = None) -> FastAPI:
    """The API of one rack; without ``delivery`` nobody is told of alerts."""
    app = FastAPI(title="Keysoak control API", version=VERSION, docs_url=None, redoc_url=None)
    add_guard(app, config.api.host)

    def untold() -> str:
        return delivery.error if delivery is not None else ""

    def note() -> str:
        return " ".join(filter(None, (store.error, untold()))) or config.rack.note

    _add_reading(app, config.rack.name, rack, store, note, untold)
    add_history(app, lambda: store)
    bookings = Bookings(config.rack.data / CATALOG)
    add_lots(app, lambda: store, lambda: bookings)
    _add_orders(app, rack, bookings, {bay.name: bay.load.rating() for bay in config.bay if bay.load})
    add_calibrations(app, rack, Calibrations(config.rack.data / CATALOG))
    add_bookings(app, bookings)
    add_plans(app, config.rack.data / "plans")
    add_live(app, Pictures(config.rack.name, note, rack))
    add_limits(app, rack)
    add_release(app, rack)
    if rack.book is not None:
        add_alerts(app, rack, rack.book, store)
    if delivery is not None:
        add_tell(app, delivery)
    return app


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

    @app.get("/v1/rack", response_model=RackView)
    def whole() -> Response:
        return Response(rack_json(name, note(), rack), media_type="application/json")

    @app.get("/v1/bays/{bay}")
    def one(bay: str) -> BayView:
        return bay_view(rack.find(bay), rack.link_of(bay), rack.ages()[bay])


def _add_orders(app: FastAPI, rack: Rack, bookings: Bookings, loads: Mapping[str, LoadRating]) -> None:
    @app.get("/v1/loads")
    def rated() -> dict[str, LoadRating]:
        return dict(loads)

    # async, straight to the loop: an unkey must not queue behind threads that read curves
    @app.post("/v1/unkey")
    async def unkey_all() -> Said:
        return Said(done="unkeyed", bays=await wait(rack.drop(None)))

    @app.post("/v1/bays/{bay}/unkey")
    async def unkey(bay: str) -> Said:
        return Said(done="unkeyed", bays=await wait(rack.drop(bay)))

    @app.post("/v1/bays/{bay}/soak", dependencies=[Depends(own_page)])
    async def soak(bay: str, order: SoakOrder) -> Said:
        plan = Plan.from_toml(order.plan)
        rack.find(bay)
        await run_in_threadpool(
            must_take, plan.view(), loads[bay].over(order.typical) if bay in loads else order.typical
        )
        if order.booking is not None:
            # the catalog is read on a thread of its own: an unkey must not wait behind a disk
            booking = order.booking
            order = await run_in_threadpool(as_booked, bookings, order)
            plan = await run_in_threadpool(with_heat_data, bookings, booking, plan)
        job = await wait(rack.soak(bay, plan, order.plan, order.number, order.unit, booking=order.booking))
        return Said(done=f"job {job} has begun: {plan.name}", bays=[bay])

    @app.post("/v1/bays/{bay}/done", dependencies=[Depends(own_page)])
    async def done(bay: str) -> Said:
        await wait(rack.done(bay))
        return Said(done="the soak goes on", bays=[bay])


class ApiThread:
    """The API's server on a thread of its own, on a socket that listens already."""

    def __init__(self, app: FastAPI, listener: socket.socket) -> None:
        self._server = uvicorn.Server(
            uvicorn.Config(app, log_level="warning", access_log=False, timeout_keep_alive=KEPT_ALIVE_S)
        )
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
