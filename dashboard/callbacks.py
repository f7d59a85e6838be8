"""What the Dash pages ask for as they stand open. Every callback awaits a thread: a slow answer from the daemon holds
up neither the live state nor an unkey (a plain ``def`` would run on the server's event loop)."""

import asyncio
from typing import Any

from dash import Dash, Input, Output, State, ctx, no_update
from dash.development.base_component import Component

from daemon.api.aligned import as_run, lasted_s
from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.api.models import JobView
from dashboard import charts, site
from dashboard.pages import job
from dashboard.span import Span, moved, tell_zooms, zoomed

#: about one a pixel of a wide screen; the API keeps the least and greatest of every part
POINTS = 1200


def add_callbacks(app: Dash, client: Client) -> None:
    """Give ``app`` its callbacks, which ask the daemon through ``client``."""

    @app.callback(Output("body", "children"), Input("url", "pathname"))
    async def open_page(path: str) -> Component:
        return await asyncio.to_thread(site.make, path or "/", client)

    tell_zooms(app, "curves", "zoomed")

    @app.callback(
        Output("span", "data"),
        Input("zoomed", "data"),
        *(Input(f"move-{name}", "n_clicks") for name, _ in job.MOVES),
        State("span", "data"),
        State("whole-s", "data"),
        prevent_initial_call=True,
    )
    async def choose_span(relayout: Any, *rest: Any) -> Any:
        span, whole_s = rest[-2:]
        if ctx.triggered_id == "zoomed":
            wanted = zoomed(relayout)
            return no_update if wanted is False else wanted
        how = str(ctx.triggered_id).removeprefix("move-")
        if not whole_s:
            return no_update
        return moved(Span(*span) if span else None, how, whole_s)

    @app.callback(
        Output("curves", "figure"),
        Output("beside", "children"),
        Output("beneath", "children"),
        Output("curves-said", "children"),
        Output("job-tick", "disabled"),
        Output("whole-s", "data"),
        Input("span", "data"),
        Input("job-tick", "n_intervals"),
        State("job-number", "data"),
    )
    async def draw(span: Any, _: int, number: int) -> Any:
        low, high = span or (None, None)
        try:
            view, curves = await asyncio.gather(
                asyncio.to_thread(client.job, number), asyncio.to_thread(client.curves, number, low, high, POINTS)
            )
        except ApiError as err:
            return no_update, no_update, no_update, f"The curves could not be fetched: {err.why}", no_update, no_update
        said = "" if curves.frames else "No readings lie in this part of the soak."
        return (
            charts.figure(view, curves),
            job.aside(view),
            job.beneath(view),
            said,
            view.ended_ns is not None,
            whole_s(view),
        )


def whole_s(job: JobView) -> float:
    """How long the time axis of a soak is: its plan's time and what it waited, or its own where that is longer."""
    lasted = lasted_s(job)
    return max(as_run(job.plan, job.waits, lasted).total_s, lasted if job.ended_ns else 0.0)
