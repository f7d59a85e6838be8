"""All soaks in one list that can be searched, filtered and sorted, and from which some are laid side by side."""

import time
from collections.abc import Sequence
from typing import Any

import dash_ag_grid
from dash import dcc, html
from dash.development.base_component import Component

from daemon.api.models import JobView
from dashboard.pages.attributes import aria
from dashboard.words import duration, local, number, sentence

VERDICTS = ("all", "pass", "fail", "incomplete", "soaking")


def page(jobs: Sequence[JobView]) -> Component:
    """The page of all soaks; it keeps its own list fresh."""
    if not jobs:
        return html.Main(
            [
                html.H1("Jobs"),
                html.P(
                    ["No soak has been run yet. Open a bay on ", html.A("the rack", href="/"), " and start one."],
                    className="blank-sheet",
                ),
            ],
            className="page wide",
        )
    return html.Main(
        [
            html.H1("Jobs"),
            html.Div(
                [
                    html.Div(className="field find find-slot"),
                    dcc.Store(id="jobs-find", data=""),
                    html.Fieldset(
                        [
                            html.Legend("Verdict"),
                            html.Div(
                                [
                                    html.Button(word, id=f"verdict-{word}", type="button", **aria(pressed="false"))
                                    for word in VERDICTS
                                ],
                                id="jobs-verdict",
                                className="chips",
                            ),
                            dcc.Store(id="verdict-chosen", data="all", storage_type="session"),
                        ],
                        className="verdicts",
                    ),
                    html.Button(
                        "Filter by column",
                        id="jobs-filters",
                        type="button",
                        className="quiet",
                        disabled=True,
                        **aria(pressed="false"),
                    ),
                    html.A("Tick two to six to lay them side by side", id="jobs-compare", className="compare-link"),
                ],
                className="jobs-tools",
            ),
            html.Div(_grid(jobs), className="ledger"),
            html.P(id="jobs-count", className="jobs-count", role="status", **aria(live="polite")),
            dcc.Interval(id="jobs-tick", interval=5000),
        ],
        className="page wide",
    )


def rows(jobs: Sequence[JobView]) -> list[dict[str, Any]]:
    """The list's rows, the newest first; times and figures as they are sorted, and as they are read."""
    return [_row(job) for job in sorted(jobs, key=lambda j: j.started_ns, reverse=True)]


def _row(job: JobView) -> dict[str, Any]:
    lasted_s = None if job.ended_ns is None else round((job.ended_ns - job.started_ns) / 1e9)
    heat_c = job.figures.get("heatsink_max_c")
    return {
        "id": str(job.job),
        "job": job.job,
        "number": job.number,
        "unit": job.unit,
        "bay": job.bay,
        "plan": job.plan.name,
        "started": f"{local(job.started_ns):%Y-%m-%d %H:%M}",
        "lasted_s": lasted_s,
        "lasted": "running" if lasted_s is None else duration(lasted_s),
        "heat_c": heat_c,
        "heat": number(heat_c, "Cel"),
        "verdict": job.verdict or "soaking",
        "why": sentence(job.reasons[0]) if job.reasons else "",
    }


def _column(field: str, name: str, wide: int, **more: Any) -> dict[str, Any]:
    return {"field": field, "headerName": name, "width": wide, "minWidth": 70, **more}


_TEXT = {"filter": "agTextColumnFilter"}
_FIGURE = {"filter": "agNumberColumnFilter", "type": "rightAligned"}

COLUMNS = [
    # one column with everything in it, for a narrow screen; assets/grid.js shows it or the others
    {"colId": "card", "headerName": "Soaks", "field": "job", "cellRenderer": "JobCard", "hide": True, "flex": 1}
    | {"autoHeight": True, "sortable": False, "filter": False, "minWidth": 200},
    _column("job", "Job", 82, cellRenderer="JobLink", **_FIGURE),
    _column("verdict", "Verdict", 164, cellRenderer="VerdictBadge", **_TEXT, floatingFilter=False),
    _column("number", "Number", 94, **_TEXT),
    _column("unit", "Unit", 138, cellRenderer="UnitCell", **_TEXT),
    _column("bay", "Bay", 74, cellRenderer="BayLink", **_TEXT),
    _column("plan", "Plan", 118, **_TEXT),
    _column("started", "Started", 162, **_TEXT),
    _column("lasted_s", "Lasted", 104, valueFormatter={"function": "params.data.lasted"}, **_FIGURE),
    _column("heat_c", "Hottest", 88, valueFormatter={"function": "params.data.heat"}, **_FIGURE),
    _column("why", "Why", 200, flex=1, cellRenderer="Sentence", tooltipField="why", **_TEXT),
]


def _zone() -> str:
    # in a list of many the zone stands once, over all
    return f"{local(time.time_ns()):%Z}"


def _grid(jobs: Sequence[JobView]) -> Component:
    grid: Component = dash_ag_grid.AgGrid(
        id="jobs-grid",
        rowData=rows(jobs),
        columnDefs=[c | {"headerName": f"Started, {_zone()}"} if c["field"] == "started" else c for c in COLUMNS],
        defaultColDef={
            "resizable": True,
            "suppressFloatingFilterButton": True,
            "suppressHeaderFilterButton": True,
            "suppressHeaderMenuButton": True,
        },
        getRowId="params.data.id",
        persistence=True,
        persistence_type="session",
        persisted_props=["filterModel"],
        dashGridOptions={
            "rowSelection": {"mode": "multiRow", "headerCheckbox": False, "enableClickSelection": False},
            "selectionColumnDef": {
                "headerName": "Tick",
                "width": 76,
                "pinned": "left",
                "sortable": False,
                "resizable": False,
            },
            "domLayout": "autoHeight",
            "pagination": True,
            "paginationPageSize": 50,
            "paginationPageSizeSelector": [20, 50, 100, 500],
            "rowHeight": 48,
            "headerHeight": 46,
            "animateRows": False,
            "enableCellTextSelection": True,
            "suppressColumnVirtualisation": True,  # a screen reader finds every column
            "floatingFiltersHeight": 56,
            "localeText": {
                "pageSizeSelectorLabel": "Soaks a page:",
                "noRowsToShow": "No soak fits this search",
                "noMatchingRows": "No soak fits this search",
            },
        },
        eventListeners={"cellKeyDown": ["openOnEnter(params)"]},
        style={"height": None, "width": "100%"},
    )
    return grid
