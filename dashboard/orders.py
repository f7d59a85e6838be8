"""The routes that a page's scripts use: what the rack does now, and the orders of a person.

Orders have threads and a connection of their own: an unkey never waits behind a slow read.
"""

import asyncio
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from html import escape
from urllib.parse import quote

from fastapi import FastAPI, Request, WebSocket, WebSocketDisconnect
from fastapi.responses import HTMLResponse, JSONResponse, Response
from pydantic import ValidationError

from daemon.api.client import Client
from daemon.api.errors import ApiError, DaemonSilent
from daemon.api.models import Said, SoakOrder
from dashboard.live import Page, Watch

#: the page gives an order 3 s before it says "failed"; the daemon itself takes 2 s at most for one
ORDER_S = 2.6

#: a plan of a thousand phases is far below this
LARGEST_ORDER = 1 << 20


def add_routes(app: FastAPI, watch: Watch, client: Client) -> None:
    """Give ``app`` the routes ``/live``, ``/unkey`` and ``/bay/<name>/unkey|done|soak``."""
    hands = ThreadPoolExecutor(4, thread_name_prefix="order")

    async def carry_out(request: Request, order: Callable[[], Said]) -> Response:
        try:
            said = await asyncio.get_running_loop().run_in_executor(hands, order)
        except DaemonSilent as err:
            return answer(request, 502, failed=err.why)
        except ApiError as err:
            return answer(request, err.status or 502, failed=err.why)
        return answer(request, 200, done=said.done, bays=said.bays)

    @app.get("/live")
    async def look() -> Response:
        return Response(await watch.whole(), media_type="application/json")

    @app.websocket("/live")
    async def live(socket: WebSocket) -> None:
        await socket.accept()
        page = Page()
        listening = asyncio.create_task(_listen(socket, page), name="hear a tab")
        try:
            async for message in watch.tell(page):
                await socket.send_text(message.decode())
        except (WebSocketDisconnect, RuntimeError):  # the tab is gone; after a close Starlette raises the latter
            return
        finally:
            listening.cancel()

    @app.post("/unkey")
    async def unkey_all(request: Request) -> Response:
        return await carry_out(request, lambda: client.unkey(None))

    @app.post("/bay/{bay}/unkey")
    async def unkey(request: Request, bay: str) -> Response:
        return await carry_out(request, lambda: client.unkey(quote(bay, safe="")))

    @app.post("/bay/{bay}/done")
    async def done(request: Request, bay: str) -> Response:
        return await carry_out(request, lambda: client.done(quote(bay, safe="")))

    @app.post("/bay/{bay}/soak")
    async def soak(request: Request, bay: str) -> Response:
        body = bytearray()
        async for part in request.stream():
            body += part
            if len(body) > LARGEST_ORDER:
                return answer(request, 413, failed="plan: longer than 1 MiB; a plan is a short text")
        try:
            order = SoakOrder.model_validate_json(bytes(body))
        except ValidationError as err:
            wrong = [f"{'.'.join(map(str, e['loc'])) or 'order'}: {e['msg']}" for e in err.errors()]
            return answer(request, 422, failed="\n".join(wrong))
        return await carry_out(request, lambda: client.soak(quote(bay, safe=""), order))


async def _listen(socket: WebSocket, page: Page) -> None:
    try:
        while True:
            page.hear(await socket.receive_text())
    except (WebSocketDisconnect, RuntimeError, KeyError):  # KeyError: it sent bytes where it has nothing to send
        return


def answer(request: Request, status: int, *, done: str = "", failed: str = "", bays: Sequence[str] = ()) -> Response:
    """The outcome as JSON for our scripts, or as a small page where a form was sent without them."""
    if "text/html" not in request.headers.get("accept", ""):
        return JSONResponse({"failed": failed} if failed else {"done": done, "bays": list(bays)}, status)
    what = failed or f"{done}: {', '.join(bays)}"
    hint = "<p><strong>If a radio is still keyed, pull its key line now.</strong></p>" if failed else ""
    return HTMLResponse(
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>Keysoak</title></head><body>'
        f"<h1>{'FAILED' if failed else 'Done'}</h1><p>{escape(what)}</p>{hint}"
        f'<p><a href="/">Back to the rack</a></p></body></html>',
        status,
    )
