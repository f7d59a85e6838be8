"""What the list of jobs does as it stands open: it stays fresh, is searched, and lays ticked soaks side by side."""

import asyncio
import json
from typing import Any

from dash import Dash, Input, Output, State, no_update

from daemon.api.client import Client
from daemon.api.errors import ApiError
from dashboard.pages import jobs

# what was written under a column's head stays, whatever verdict is chosen
_SEARCH = """(text, verdict, options, before) => {
  const {verdict: _, ...others} = before ?? {};
  const chosen = (verdict ?? "all") === "all" ? {} : {verdict: {filterType: "text", type: "equals", filter: verdict}};
  return [{...options, quickFilterText: text || ""}, {...others, ...chosen}];
}"""

# Dash's own radio buttons are options without a list to a screen reader; these are buttons that stay pressed
_CHOOSE = """(...all) => {
  const by = window.dash_clientside.callback_context.triggered_id;
  return by ? by.slice("verdict-".length) : all.at(-1);
}"""

_PRESSED = """(chosen) => VERDICTS.map((word) => String(word === (chosen ?? "all")))"""

_COUNT = """(rows, shown, model, text) => {
  const all = (rows || []).length, now = (shown || rows || []).length;
  return now === all ? `${all} soaks` : `${now} of ${all} soaks`;
}"""

_COMPARE = """(rows) => {
  const jobs = (rows || []).map((row) => row.job).sort((a, b) => a - b);
  if (jobs.length < 2) return ["Tick two to six to lay them side by side", null];
  if (jobs.length > 6) return [`${jobs.length} are ticked: six at most`, null];
  return [`Lay ${jobs.length} side by side`, `/compare?jobs=${jobs.join(",")}`];
}"""


def add_jobs_callbacks(app: Dash, client: Client) -> None:
    """Give ``app`` the callbacks of its list of jobs."""
    scripted: Any = app.clientside_callback  # it knows no types

    @app.callback(
        Output("jobs-grid", "rowData"),
        Input("jobs-tick", "n_intervals"),
        State("jobs-grid", "rowData"),
        prevent_initial_call=True,
    )
    async def refresh(_: int, shown: list[dict[str, Any]]) -> Any:
        try:
            found = jobs.rows(await asyncio.to_thread(client.jobs))
        except ApiError:
            return no_update  # the banner on top of the page says it
        return no_update if found == shown else found

    scripted(
        "(id) => { window.keysoakFitList(id); return window.dash_clientside.no_update; }",
        Output("jobs-compare", "title"),
        Input("jobs-grid", "id"),
    )
    buttons = [f"verdict-{word}" for word in jobs.VERDICTS]
    scripted(
        _CHOOSE,
        Output("verdict-chosen", "data"),
        *(Input(button, "n_clicks") for button in buttons),
        State("verdict-chosen", "data"),
        prevent_initial_call=True,
    )
    scripted(
        _PRESSED.replace("VERDICTS", json.dumps(jobs.VERDICTS)),
        *(Output(button, "aria-pressed") for button in buttons),
        Input("verdict-chosen", "data"),
    )
    scripted(
        _SEARCH,
        Output("jobs-grid", "dashGridOptions"),
        Output("jobs-grid", "filterModel"),
        Input("jobs-find", "data"),
        Input("verdict-chosen", "data"),
        State("jobs-grid", "dashGridOptions"),
        State("jobs-grid", "filterModel"),
    )
    scripted(
        _COUNT,
        Output("jobs-count", "children"),
        Input("jobs-grid", "rowData"),
        Input("jobs-grid", "virtualRowData"),
        Input("jobs-grid", "filterModel"),
        Input("jobs-find", "data"),
    )
    scripted(
        _COMPARE, Output("jobs-compare", "children"), Output("jobs-compare", "href"), Input("jobs-grid", "selectedRows")
    )
