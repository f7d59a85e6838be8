"""The routes by which a page's scripts follow alerts and links, and hand in what a person does about an alert.

Apart from the orders that unkey: those have threads and connections of their own.
"""

import asyncio
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, TypeAdapter, ValidationError

from daemon.api.alert_models import AlertView, NoteOrder, ReasonOrder, ShelveOrder
from daemon.api.client import Client
from daemon.api.errors import ApiError, DaemonSilent
from daemon.api.models import BayView, Said
from daemon.api.tell_models import TellTest, TellTried
from dashboard.errors import OrderTooLong
from dashboard.kept import Kept
from dashboard.orders import answer

_ALERTS = TypeAdapter(list[AlertView])
_BAYS = TypeAdapter(list[BayView])
_TRIED = TypeAdapter(list[TellTried])
#: what the links' page shows of a bay
_OF_A_LINK = {"__all__": {"bay", "age_s", "stale", "readings", "link"}}
#: alerts that are normal again, shown after those that stand
CLOSED = 20
#: a name, a note of two thousand letters, and room
LARGEST_ORDER = 1 << 16


def add_alert_routes(app: FastAPI, client: Client) -> None:
    """Give ``app`` the routes ``/live/alerts|rate|tells|links``, ``/alerts/<id>/<order>``, ``/tells/test``,
    ``/bay/<name>/release``."""
    kept = {
        "alerts": Kept(lambda: _ALERTS.dump_json(client.alerts(CLOSED)).decode()),
        "rate": Kept(lambda: client.alert_rate().model_dump_json(), keep_s=5.0),
        "tells": Kept(lambda: client.tell().model_dump_json(), keep_s=2.0),
        "links": Kept(lambda: _BAYS.dump_json(client.rack().bays, include=_OF_A_LINK).decode(), keep_s=0.9),
    }
    orders: dict[str, tuple[type[BaseModel], Callable[[int, Any], Said]]] = {
        "acknowledge": (NoteOrder, client.acknowledge),
        "shelve": (ShelveOrder, client.shelve),
        "unshelve": (NoteOrder, client.unshelve),
        "out-of-service": (ReasonOrder, client.out_of_service),
        "in-service": (NoteOrder, client.in_service),
        "reset": (ReasonOrder, client.reset),
    }

    @app.get("/live/{what}")
    async def follow(what: str) -> Response:
        try:
            return Response(await kept[what].now(), media_type="application/json")
        except ApiError as err:
            # asked every second or two: that the daemon is silent is a state to show, no fault of this page's
            return JSONResponse({"failed": err.why})

    @app.post("/alerts/{alert}/{order}")
    async def deal(request: Request, alert: int, order: str) -> Response:
        model, send = orders[order]
        try:
            asked = model.model_validate_json(await _body(request))
            said = await asyncio.to_thread(send, alert, asked)
        except OrderTooLong as err:
            return answer(request, 413, failed=str(err))
        except ValidationError as err:
            return answer(request, 422, failed=_wrong(err))
        except ApiError as err:
            return answer(request, _status(err), failed=err.why)
        kept["alerts"].stale()
        return answer(request, 200, done=said.done, bays=said.bays)

    @app.post("/bay/{bay}/release")
    async def release(request: Request, bay: str) -> Response:
        try:
            asked = ReasonOrder.model_validate_json(await _body(request))
            said = await asyncio.to_thread(client.release, quote(bay, safe=""), asked)
        except OrderTooLong as err:
            return answer(request, 413, failed=str(err))
        except ValidationError as err:
            return answer(request, 422, failed=_wrong(err))
        except ApiError as err:
            return answer(request, _status(err), failed=err.why)
        kept["alerts"].stale()
        return answer(request, 200, done=said.done, bays=said.bays)

    @app.post("/tells/test")
    async def test(request: Request) -> Response:
        try:
            asked = TellTest.model_validate_json(await _body(request))
            tried = await asyncio.to_thread(client.tell_test, asked.target)
        except OrderTooLong as err:
            return answer(request, 413, failed=str(err))
        except ValidationError as err:
            return answer(request, 422, failed=_wrong(err))
        except ApiError as err:
            return answer(request, _status(err), failed=err.why)
        kept["tells"].stale()
        return Response(_TRIED.dump_json(tried), media_type="application/json")


def _status(err: ApiError) -> int:
    return 502 if isinstance(err, DaemonSilent) else err.status or 502


def _wrong(err: ValidationError) -> str:
    return "\n".join(f"{'.'.join(map(str, e['loc'])) or 'order'}: {e['msg']}" for e in err.errors())


async def _body(request: Request) -> bytes:
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > LARGEST_ORDER:
            raise OrderTooLong(LARGEST_ORDER)
    return bytes(body)
