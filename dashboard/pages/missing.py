"""What a page says when it has nothing to show, and what to do next."""

from dash import html
from dash.development.base_component import Component

from dashboard.pages.attributes import aria


def page(title: str, what: str) -> Component:
    """A page that could not be made: ``what`` says why."""
    return html.Main(
        [
            html.H1(title),
            html.P(what, role="alert"),
            html.Nav(
                [html.A("The rack", href="/"), html.A("All jobs", href="/jobs")],
                className="ways-on",
                **aria(label="Ways on"),
            ),
        ],
        className="page",
    )
