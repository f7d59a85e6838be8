"""What a viewer chose, which the browser keeps in a cookie: in which degrees temperatures are shown."""

from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from dashboard.words import DEGREES


class Viewer:
    """A pure ASGI middleware: a request's own context carries the choice into every callback and its threads."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on with the viewer's choice set."""
        if scope["type"] == "http":
            DEGREES.set(degrees_of(Headers(scope=scope).get("cookie", "")))
        await self.app(scope, receive, send)


def degrees_of(cookie: str) -> str:
    """``F`` where the cookie says so, else ``C``."""
    try:
        kept = SimpleCookie(cookie).get("degrees")
    except CookieError:
        return "C"
    return "F" if kept is not None and kept.value == "F" else "C"
