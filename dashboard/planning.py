"""The routes of the page of plans: a plan's text is judged with what it asks of a load, saved, and started."""

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
from daemon.api.models import SoakOrder
from dashboard.estimate import Typical, estimate
from dashboard.orders import LARGEST_ORDER, answer

M = TypeVar("M", bound=BaseModel)


class Draft(BaseModel):
    """A plan as it stands in the editor."""

    model_config = ConfigDict(extra="forbid")

    text: str
    typical: Typical = Field(default_factory=Typical)


class Saving(Draft):
    """Save it."""

    replace: bool = False


class Starting(Draft):
    """Start it on a bay."""

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
        try:
            return await asyncio.get_running_loop().run_in_executor(hands, act, asked)
        except DaemonSilent as err:
            return answer(request, 502, failed=err.why)
        except ApiError as err:
            return answer(request, err.status or 502, failed=err.why)

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
            # looked at again here: what the page showed may be of an older text
            found = judged(client, draft)
            if wrong := [*found["problems"], *(found["estimate"] or {"problems": []})["problems"]]:
                return answer(request, 409, failed="\n".join(wrong))
            said = client.soak(
                quote(draft.bay, safe=""), SoakOrder(plan=draft.text, number=draft.number, unit=draft.unit)
            )
            return answer(request, 200, done=said.done, bays=said.bays)

        return await carry_out(request, Starting, act)


def judged(client: Client, draft: Draft) -> dict[str, Any]:
    """``plan`` as it is drawn, ``problems`` of its text, and the ``estimate``; the latter null where there are some."""
    said = client.judge_plan(draft.text)
    found = estimate(said.plan, draft.typical).model_dump() if said.plan else None
    plan = said.plan.model_dump() if said.plan else None
    problems = [f"{p.field}: {p.what}" if p.field else p.what for p in said.problems]
    return {"plan": plan, "problems": problems, "estimate": found}


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
