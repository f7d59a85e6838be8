"""The routes of plans: a plan's text is judged with what it asks of a bay's load, saved, and started."""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from daemon.api.client import Client
from daemon.api.errors import ApiError, DaemonSilent
from daemon.api.load import estimate
from daemon.api.load_models import Typical
from daemon.api.models import SoakOrder
from dashboard.orders import LARGEST_ORDER, answer

M = TypeVar("M", bound=BaseModel)


class Draft(BaseModel):
    """A plan as it stands in an editor, for a bay where one is chosen."""

    model_config = ConfigDict(extra="forbid")

    text: str
    bay: str = Field(default="", max_length=64)
    typical: Typical = Field(default_factory=Typical)


class Saving(Draft):
    """Save it."""

    replace: bool = False


class Starting(Draft):
    """Start it on a bay; the daemon judges it again, by the load that the bay has."""

    bay: str = Field(min_length=1, max_length=64)
    number: str = Field(default="", max_length=100)
    unit: str = Field(default="", max_length=100)


def add_plan_routes(app: FastAPI, client: Client) -> None:
    """Give ``app`` the routes ``/plan/judge``, ``/plan/save`` and ``/plan/start``."""
    hands = ThreadPoolExecutor(4, thread_name_prefix="plan")

    async def carry_out(request: Request, model: type[M], act: Callable[[M], Response]) -> Response:
        body = bytearray()
        async for part in request.stream():
            body += part
            if len(body) > LARGEST_ORDER:
                return answer(request, 413, failed="plan: longer than 1 MiB; a plan is a short text")
        try:
            asked = model.model_validate_json(bytes(body))
        except ValidationError as err:
            return answer(request, 422, failed="\n".join(_said(dict(e)) for e in err.errors()))
        return await answered(request, lambda: act(asked))

    async def answered(request: Request, act: Callable[[], Response]) -> Response:
        try:
            return await asyncio.get_running_loop().run_in_executor(hands, act)
        except DaemonSilent as err:
            return answer(request, 502, failed=err.why)
        except ApiError as err:
            return answer(request, err.status or 502, failed=err.why)

    @app.get("/plan/list")
    async def listed(request: Request) -> Response:
        def act() -> Response:
            # the shortest first is no order for a person's own
            files = sorted(client.plans(), key=lambda f: (not f.own, f.name if f.own else f.plan.total_s))
            return JSONResponse([f.model_dump(include={"name", "file", "text", "own"}) for f in files])

        return await answered(request, act)

    @app.post("/plan/judge")
    async def judge(request: Request) -> Response:
        return await carry_out(request, Draft, lambda draft: JSONResponse(judged(client, draft)))

    @app.post("/plan/save")
    async def save(request: Request) -> Response:
        def act(draft: Saving) -> Response:
            return answer(request, 200, done=client.save_plan(draft.text, draft.replace).done)

        return await carry_out(request, Saving, act)

    @app.post("/plan/start")
    async def start(request: Request) -> Response:
        def act(draft: Starting) -> Response:
            order = SoakOrder(plan=draft.text, number=draft.number, unit=draft.unit, typical=draft.typical)
            said = client.soak(quote(draft.bay, safe=""), order)
            return answer(request, 200, done=said.done, bays=said.bays)

        return await carry_out(request, Starting, act)


def judged(client: Client, draft: Draft) -> dict[str, Any]:
    """``plan`` as it is drawn, ``problems`` of its text, the ``estimate``, null where there are some, and ``rated``:
    what rack.toml says of the bay's load, null where it says nothing."""
    said = client.judge_plan(draft.text)
    rated = client.loads().get(draft.bay) if draft.bay else None
    typical = rated.over(draft.typical) if rated else draft.typical
    found = estimate(said.plan, typical).model_dump() if said.plan else None
    plan = said.plan.model_dump() if said.plan else None
    problems = [f"{p.field}: {p.what}" if p.field else p.what for p in said.problems]
    return {"plan": plan, "problems": problems, "estimate": found, "rated": rated.model_dump() if rated else None}


_NAMES = {
    "forward_w": "forward power",
    "efficiency_percent": "efficiency",
    "idle_w": "idle",
    "load_w": "load, continuously",
    "load_short_w": "load, for a short time",
    "load_short_min": "minutes of that",
    "load_j": "load, in one soak",
}


def _said(error: dict[str, Any]) -> str:
    name = str(error["loc"][-1]) if error["loc"] else "plan"
    return f"{_NAMES.get(name, name)}: {error['msg']}"
