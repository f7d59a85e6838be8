"""What the Dash pages ask for as they stand open. Every callback awaits a thread: a slow answer from the daemon holds
up neither the live state nor an unkey (a plain ``def`` would run on the server's event loop)."""

import asyncio
from typing import Any

from dash import Dash, Input, Output, State, ctx, no_update
from dash.development.base_component import Component

from daemon.api.errors import ApiError
from dashboard import charts, site
from dashboard.ahead import POINTS, Ahead
from dashboard.pages import job
from dashboard.span import choose_spans


def add_callbacks(app: Dash, client: Ahead) -> None:
    """Give ``app`` its callbacks, which ask the daemon through ``client``."""

    # a page comes with the layout; this is for one whose browser does not say where it is
    @app.callback(Output("body", "children"), Input("asked", "pathname"))
    async def open_page(path: str) -> Component:
        return await asyncio.to_thread(site.make, path or "/", client)

    choose_spans(app, "curves", [f"move-{name}" for name, _ in job.MOVES], "span", "whole-s")

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
        prevent_initial_call=True,  # the page comes with its curves
    )
    async def draw(span: Any, _: int, number: int) -> Any:
        low, high = span or (None, None)
        zoomed = ctx.triggered_id == "span"
        try:
            view, curves = await asyncio.gather(
                asyncio.to_thread(client.as_drawn if zoomed else client.job, number),
                asyncio.to_thread(client.curves, number, low, high, POINTS),
            )
        except ApiError as err:
            return no_update, no_update, no_update, job.not_fetched(err), no_update, no_update
        # a zoom changes nothing beside the curves: to make all of it anew would hold them up
        rest = (no_update, no_update) if zoomed else (job.aside(view), job.beneath(view))
        figure, said = charts.figure(view, curves), job.how_many(curves)
        return figure, *rest, said, view.ended_ns is not None, job.whole(view)
