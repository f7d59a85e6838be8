"""The routes of the page on which units are booked in: a sheet is judged as it is typed, and kept."""

from typing import Any

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, ConfigDict, TypeAdapter

from daemon.api.booking_models import Booking, DeviceType
from daemon.api.client import Client
from dashboard.orders import answer
from dashboard.taking import ask, take


class Keeping(BaseModel):
    """A sheet to keep; ``over`` is the booking in whose place it comes."""

    model_config = ConfigDict(extra="forbid")

    booking: Booking
    over: int | None = None


class Erasing(BaseModel):
    """A booking whose customer is to be forgotten."""

    model_config = ConfigDict(extra="forbid")

    booking: int


_TYPED: TypeAdapter[dict[str, Any]] = TypeAdapter(dict[str, Any])
_KEEPING = TypeAdapter(Keeping)
_ERASING = TypeAdapter(Erasing)
_DEVICE = TypeAdapter(DeviceType)


def add_booking_routes(app: FastAPI, client: Client) -> None:
    """Give ``app`` the routes ``/sheet/check|keep|erase|device``, and ``/sheet/list`` for a bay's form."""

    @app.get("/sheet/list")
    async def listed(request: Request) -> Response:
        def act() -> Response:
            return JSONResponse([_named(b.booking, b.number, b.unit, len(b.jobs)) for b in client.bookings(most=100)])

        return await ask(request, act)

    @app.post("/sheet/check")
    async def check(request: Request) -> Response:
        def act(typed: dict[str, Any]) -> Response:
            return JSONResponse(client.check_booking(typed).model_dump())

        return await take(request, _TYPED, act)

    @app.post("/sheet/keep")
    async def keep(request: Request) -> Response:
        def act(sheet: Keeping) -> Response:
            return JSONResponse(client.book(sheet.booking, sheet.over).model_dump())

        return await take(request, _KEEPING, act)

    @app.post("/sheet/erase")
    async def erase(request: Request) -> Response:
        def act(asked: Erasing) -> Response:
            return answer(request, 200, done=client.erase_customer(asked.booking).done)

        return await take(request, _ERASING, act)

    @app.post("/sheet/device")
    async def device(request: Request) -> Response:
        def act(kind: DeviceType) -> Response:
            return answer(request, 200, done=client.put_device(kind).done)

        return await take(request, _DEVICE, act)


def _named(booking: int, number: str, unit: str, soaks: int) -> dict[str, str | int]:
    return {"booking": booking, "number": number, "unit": unit, "soaks": soaks}
