"""What stands before every request: known paths only, orders from our own pages only, nothing from elsewhere.

A pure ASGI middleware, so that it also sees web sockets (an ``@app.middleware("http")`` never does).
"""

import re
from collections.abc import Sequence
from html import escape
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import HTMLResponse, PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard.site import PLACES

#: every path that answers; Dash itself would answer any other path with a page and 200
KNOWN = re.compile(
    "|".join(
        [
            *(place.path for place in PLACES),
            r"/live|/live/(alerts|rate|tells|links)|/tells/test",
            r"/alerts/[0-9]{1,18}/(acknowledge|shelve|unshelve|out-of-service|in-service|reset)",
            r"/plan/(list|judge|save|start)|/job/[0-9]{1,12}/(export|certificate\.(pdf|html))",
            r"/sheet/(list|check|keep|erase|device)|/calibration/(list|check|keep)",
            r"/unkey|/bay/[^/.][^/]{0,63}/(unkey|done|soak|release)",
            r"/assets/.+|/_dash-.+|/_reload-hash|/_favicon\.ico",
        ]
    )
)

_MISSING = """<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>No such page · Keysoak</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="stylesheet" href="/assets/tokens.css">
<link rel="stylesheet" href="/assets/page.css"></head><body><main class="page"><h1>There is no such page</h1>
<p><code>{path}</code> leads nowhere. <a href="/">The rack</a> and <a href="/jobs">the jobs</a> are where they were.</p>
</main></body></html>"""


class Guard:
    """Refuses unknown paths (404) and orders that come from another site's page (403); adds the headers that
    keep a page from loading or being framed by anything else."""

    def __init__(self, app: ASGIApp, inline_scripts: Sequence[str] = ()) -> None:
        self.app = app
        self._policy = "; ".join(
            (
                "default-src 'self'",
                f"script-src 'self' {' '.join(inline_scripts)}".strip(),
                "style-src 'self' 'unsafe-inline'",  # plotly and React set styles on elements
                "img-src 'self' data: blob:",
                "worker-src 'self' blob:",
                "object-src 'none'",
                "base-uri 'none'",
                "form-action 'self'",
                "frame-ancestors 'none'",
            )
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer it here."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        acts = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if acts and not same_origin(headers):
            await _refuse(scope, receive, send)
            return
        if scope["type"] == "websocket":
            await self.app(scope, receive, send)
            return

        known = KNOWN.fullmatch(scope["path"]) is not None

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                if not known:
                    message["status"] = 404
                out = MutableHeaders(scope=message)
                out["content-security-policy"] = self._policy
                out["x-content-type-options"] = "nosniff"
                out["referrer-policy"] = "same-origin"
                if not scope["path"].startswith(("/_dash-component-suites/", "/assets/")):
                    out["cache-control"] = "no-store"
            await send(message)

        if not known and scope["method"] == "GET" and "text/html" in headers.get("accept", ""):
            # a person who has lost his way keeps the red button: the page around it says that this leads nowhere
            await self.app({**scope, "path": "/nowhere", "raw_path": b"/nowhere"}, receive, with_headers)
            return
        if not known:
            page = HTMLResponse(_MISSING.format(path=escape(scope["path"][:200])), 404)
            await page(scope, receive, with_headers)
            return
        await self.app(scope, receive, with_headers)


def same_origin(headers: Headers) -> bool:
    """Whether the page that sends a request is our own; a caller that is no browser names no origin."""
    origin = headers.get("origin")
    if origin is None:
        return headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")
    return urlsplit(origin).netloc == headers.get("host", "") != ""


async def _refuse(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 4003, "reason": "another site's page"})
        return
    why = "Refused: this order came from another site's page. Open Keysoak's own page and press there.\n"
    await PlainTextResponse(why, 403)(scope, receive, send)
