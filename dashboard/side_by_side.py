"""What the page of soaks side by side asks for: ``/compare?jobs=1,2,3``."""

import asyncio
from collections.abc import Sequence
from typing import Any
from urllib.parse import parse_qs

from dash import Dash, Input, Output, State, html, no_update

from daemon.api.aligned import PlanTime, in_plan_time, key_on_s
from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.api.models import BandView
from dashboard import overlay
from dashboard.overlay import Soak
from dashboard.pages import compare
from dashboard.span import choose_spans

#: two to six soaks share the width that one has alone
POINTS = 800
LEAST, MOST = 2, 6
_CHOOSE = ["Choose them in ", html.A("the list of jobs", href="/jobs"), ": tick two to six, then press the button."]


def jobs_of(search: str) -> list[int]:
    """The jobs that an address names, each once, in its order; empty where it names fewer than two or too many."""
    words = [w for part in parse_qs(search.lstrip("?")).get("jobs", []) for w in part.split(",") if w]
    if not all(w.isascii() and w.isdigit() and len(w) <= 12 for w in words):
        return []
    found = list(dict.fromkeys(int(w) for w in words))
    return found if LEAST <= len(found) <= MOST else []


def add_compare_callbacks(app: Dash, client: Client) -> None:
    """Give ``app`` the callbacks of its page of soaks side by side."""
    buttons = [f"compare-{name}" for name, _ in compare.MOVES]
    choose_spans(app, "compare-curves", buttons, "compare-span", "compare-whole-s")

    @app.callback(
        Output("compare-curves", "figure"),
        Output("compare-beside", "children"),
        Output("compare-said", "children"),
        Output("compare-whole-s", "data"),
        Output("compare-sheet", "hidden"),
        Input("compare-span", "data"),
        State("url", "search"),
    )
    async def draw(span: Any, search: str | None) -> Any:
        numbers = jobs_of(search or "")
        if not numbers:
            return no_update, no_update, _CHOOSE, no_update, True
        try:
            return await asyncio.to_thread(_drawn, client, numbers, span)
        except ApiError as err:
            return no_update, no_update, [f"{err.why}. ", *_CHOOSE], no_update, True


def _drawn(client: Client, numbers: Sequence[int], span: Sequence[float] | None) -> tuple[Any, ...]:
    soaks = [_soak(client, number, span) for number in numbers]
    latest = max(numbers)
    bands: dict[str, BandView] = {}
    for channel in overlay.CHARTS:
        try:
            bands[channel] = client.band(latest, channel, numbers)
        except ApiError:
            continue  # the page says that there is none now
    low = min(-s.key_on_s for s in soaks)
    high = max(s.job.plan.total_s - s.key_on_s for s in soaks)
    from_s, to_s = span or (low, high)
    figure = overlay.figure(soaks, bands, from_s, to_s)
    return figure, compare.beside(soaks, bands.get("heatsink")), "", [low, high], False


def _soak(client: Client, number: int, span: Sequence[float] | None) -> Soak:
    job = client.job(number)
    curves = in_plan_time(client.curves(number, None, None, POINTS), job)
    zero_s = key_on_s(job, curves)
    if span:
        low, high = max(0.0, span[0] + zero_s), span[1] + zero_s
        # where a soak was over before this part, or had not begun, it has no line
        if high > low:
            stood = PlanTime.of(job)
            between_s = stood.since_start_s(low), stood.since_start_s(high)
            curves = in_plan_time(client.curves(number, *between_s, POINTS), job)
    return Soak(job, curves, zero_s)
