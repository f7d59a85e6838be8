"""The dashboard as one ASGI application: Dash for pages, plain routes for what a page's scripts ask."""

import re
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, cast
from urllib.parse import quote, urlsplit

from dash import Dash, dcc, html
from dash.development.base_component import Component
from fastapi import FastAPI
from starlette.middleware.trustedhost import TrustedHostMiddleware

from daemon.api.client import Client
from daemon.api.models import BayView
from dashboard import site
from dashboard.ahead import Ahead
from dashboard.alerts import add_alert_routes
from dashboard.booking import add_booking_routes
from dashboard.calibrating import add_calibration_routes
from dashboard.callbacks import add_callbacks
from dashboard.chosen import add_jobs_callbacks
from dashboard.downloads import add_download_routes
from dashboard.files import CHARTS, Assets, OwnFiles, PackedFiles, assets
from dashboard.guard import Guard
from dashboard.live import Watch
from dashboard.orders import ORDER_S, add_routes
from dashboard.planning import add_plan_routes
from dashboard.shell import SHELL
from dashboard.side_by_side import add_compare_callbacks
from dashboard.site import Place, find, title_of
from dashboard.viewer import Viewer

#: the grid's script is as large as all others together, and one page alone has a grid; none has Dash's own table
_GRID = re.compile(r'<script src="[^"]*(dash_ag_grid[^"]*|/grid\.js)"></script>\n?')
_TABLE = re.compile(r'<script src="[^"]*/dash_table/[^"]*"></script>')

#: names under which a browser on this machine reaches the page
LOCAL = ("127.0.0.1", "localhost", "[::1]")


class Shell(Dash):
    """Dash inside our own page: the head with the red button stands outside what React draws, so that unkeying
    works whatever becomes of the rest."""

    ahead: Ahead

    def interpolate_index(self, *parts: Any, **named: Any) -> str:
        """The whole document, with the title that its path deserves."""
        path, own = self.backend.request_adapter().path, assets()
        found = find(path)
        place = found[0] if found else None
        if found and found[0].charted and found[1]:
            self.ahead.begin(int(found[1]))
        named |= {"title": title_of(path), "own": own.root, "soon": _soon(place, own)}
        text = SHELL
        for name, value in named.items():
            text = text.replace(f"{{%{name}%}}", value)
        text = _TABLE.sub("", text)
        return text if path == "/jobs" else _GRID.sub("", text)


#: what Dash fetches when its own scripts have come; assets/zone.js has the layout fetched
_DEPENDENCIES = "/_dash-dependencies"
_GRAPH = "/_dash-component-suites/dash/dcc/async-graph.js"


def _soon(place: Place | None, own: Assets) -> str:
    """What a page's scripts are, and what they will need, so that a browser asks for all of it at once."""
    charted = place is not None and place.charted
    # a page of curves is there for them: its live parts give way to what draws them
    way = ' fetchpriority="low"' if charted else ""
    lines = [f'<link rel="preload" as="fetch" href="{_DEPENDENCIES}" crossorigin>']
    if charted:
        lines.append(f'<link rel="preload" as="script" href="{own.path(CHARTS)}" fetchpriority="high">')
        lines.append(f'<script src="{own.path("charts-soon.js")}"></script>')
        lines.append(f'<link rel="preload" as="script" href="{_GRAPH}">')
    first = [*(f"{part}.js" for part in (place.parts if place else ())), "main.js"]
    lines += [f'<script type="module" src="{own.path(name)}"{way}></script>' for name in first]
    lines += [f'<link rel="modulepreload" href="{own.path(name)}"{way}>' for name in own.modules(first)]
    return "\n".join(lines)


def _layout(app: Shell, client: Client) -> Component:
    """The page that asks, whole: where a page comes by a callback, it waits for all of Dash before it is asked for.

    Dash runs it on a thread of its own.
    """
    body: Component = html.Div(id="body")
    if app.backend.has_request_context():
        # our own header has browsers tell where a question of the page comes from; of one that does not, the page asks
        # once more by itself (dashboard/callbacks.py)
        from_page = urlsplit(app.backend.request_adapter().headers.get("referer", ""))
        ask = dcc.Location(id="asked", refresh=False)
        body = html.Div(site.make(from_page.path, client) if from_page.path else ask, id="body")
    return html.Div([dcc.Location(id="url", refresh=False), body])


def _bay_of(client: Client) -> Callable[[str], BayView]:
    return lambda bay: client.bay(quote(bay, safe=""))


def build(api: str, hosts: Sequence[str] = ()) -> FastAPI:
    """The application. ``api`` is the daemon's address; ``hosts`` are names, besides those of the machine itself,
    under which a browser may ask for a page."""
    server = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    app = Shell(
        __name__,
        server=cast(Any, server),  # its type says "callable", it takes an application
        backend="fastapi",
        include_assets_files=False,
        serve_locally=True,
        compress=False,
        update_title="",
        suppress_callback_exceptions=True,
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
    )
    # a live picture or an order must not wait for a read of long curves: each has its own connections
    asking: list[Client] = []
    server.state.asking = asking

    def ask(timeout_s: float = 3.0) -> Client:
        asking.append(Client(api, timeout_s))
        return asking[-1]

    ahead = Ahead(api, 10.0)
    asking.append(ahead)
    app.ahead = ahead
    app.layout = partial(_layout, app, ahead)
    add_callbacks(app, ahead)
    add_jobs_callbacks(app, ask(10.0))
    add_compare_callbacks(app, ask(10.0))
    add_routes(server, Watch(api, _bay_of(ask(2.0))), ask(ORDER_S))
    add_alert_routes(server, ask())
    add_download_routes(server, ask(60.0))
    add_plan_routes(server, ask(ORDER_S))
    add_booking_routes(server, ask())
    add_calibration_routes(server, ask())
    server.add_middleware(Viewer)
    server.add_middleware(PackedFiles)
    server.add_middleware(OwnFiles, own=assets())
    server.add_middleware(Guard, inline_scripts=app.csp_hashes())
    server.add_middleware(TrustedHostMiddleware, allowed_hosts=[*LOCAL, *hosts], www_redirect=False)
    return server


def close(server: FastAPI) -> None:
    """Close the application's connections to the daemon; it answers nobody after this."""
    for client in server.state.asking:
        client.close()
