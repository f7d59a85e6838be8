"""The routes of the page of calibrations: points are judged as they are typed, put in force, and listed."""

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from pydantic import TypeAdapter

from daemon.api.calibration_models import CalibrationOrder, CalibrationView
from daemon.api.client import Client
from dashboard.taking import ask, take

_ORDER = TypeAdapter(CalibrationOrder)
_VIEWS = TypeAdapter(list[CalibrationView])


def add_calibration_routes(app: FastAPI, client: Client) -> None:
    """Give ``app`` the routes ``/calibration/check|keep|list``."""

    @app.post("/calibration/check")
    async def check(request: Request) -> Response:
        def act(order: CalibrationOrder) -> Response:
            return JSONResponse(client.check_calibration(order).model_dump(mode="json"))

        return await take(request, _ORDER, act)

    @app.post("/calibration/keep")
    async def keep(request: Request) -> Response:
        def act(order: CalibrationOrder) -> Response:
            return JSONResponse(client.calibrate(order).model_dump(mode="json"))

        return await take(request, _ORDER, act)

    @app.get("/calibration/list")
    async def listed(request: Request) -> Response:
        def act() -> Response:
            return Response(_VIEWS.dump_json(client.calibrations()), media_type="application/json")

        return await ask(request, act)
