"""The list of soaks, newest first."""

from collections.abc import Sequence

from dash import dcc, html
from dash.development.base_component import Component

from daemon.api.models import JobView
from dashboard.pages.attributes import data
from dashboard.pages.verdict import badge
from dashboard.words import duration, instant, sentence

HEADS = ("Job", "Number", "Unit", "Bay", "Plan", "Started", "Lasted", "Verdict", "Why")


def page(jobs: Sequence[JobView]) -> Component:
    """The page of all soaks; it refreshes its own table."""
    return html.Main(
        [
            html.H1("Jobs"),
            html.Div(table(jobs), id="jobs"),
            dcc.Interval(id="jobs-tick", interval=5000),
        ],
        className="page wide",
    )


def table(jobs: Sequence[JobView]) -> Component:
    """The table itself, or what to do when there is none."""
    if not jobs:
        return html.P(["No soak has been run yet. Open a bay on ", html.A("the rack", href="/"), " and start one."])
    rows = [_row(job) for job in sorted(jobs, key=lambda j: j.started_ns, reverse=True)]
    head = html.Thead(html.Tr([html.Th(name, scope="col") for name in HEADS]))
    return html.Table([head, html.Tbody(rows)], className="jobs")


def _row(job: JobView) -> Component:
    lasted_s = None if job.ended_ns is None else (job.ended_ns - job.started_ns) / 1e9
    cells: list[str | Component] = [
        html.A(f"Job {job.job}", href=f"/job/{job.job}"),
        job.number,
        job.unit,
        html.A(job.bay, href=f"/bay/{job.bay}"),
        job.plan.name,
        instant(job.started_ns),
        "running" if lasted_s is None else duration(lasted_s),
        badge(job.verdict),
        sentence(job.reasons[0]) if job.reasons else "",
    ]
    return html.Tr([html.Td(cell, **data(head=name)) for name, cell in zip(HEADS, cells, strict=True)])
