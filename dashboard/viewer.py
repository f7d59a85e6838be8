"""What the browser keeps of a viewer in cookies: the degrees that he chose for temperatures, and his time zone."""

from http.cookies import CookieError, SimpleCookie
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from dashboard.words import DEGREES, ZONE


class Viewer:
    """A pure ASGI middleware: a request's own context carries the choice into every callback and its threads."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on with the viewer's choice set."""
        if scope["type"] == "http":
            cookie = Headers(scope=scope).get("cookie", "")
            DEGREES.set(degrees_of(cookie))
            ZONE.set(zone_of(cookie))
        await self.app(scope, receive, send)


def degrees_of(cookie: str) -> str:
    """``F`` where the cookie says so, else ``C``."""
    return "F" if _kept(cookie, "degrees") == "F" else "C"


def zone_of(cookie: str) -> ZoneInfo | None:
    """The zone that the cookie names; None where it names none that is known here: the bench's own is then shown."""
    try:
        return ZoneInfo(_kept(cookie, "zone"))
    except (ValueError, OSError, ZoneInfoNotFoundError):  # no key at all, a folder, a zone of another world
        return None


def _kept(cookie: str, name: str) -> str:
    try:
        kept = SimpleCookie(cookie).get(name)
    except CookieError:
        return ""
    return "" if kept is None else kept.value
