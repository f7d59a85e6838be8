"""The rack: one shelf a bay. The shelves are drawn by assets/shelf.js from ``/live``; this is the place for them."""

from dash import html
from dash.development.base_component import Component


def page() -> Component:
    """The rack page, before the first answer has come."""
    return html.Main(
        [
            html.H1("The rack", className="unseen"),
            html.P(id="rack-note", className="rack-note"),
            html.Div(className="rack", children=[html.Div(id="rack", className="shelves")]),
            html.Div(id="hatch-key", className="hatch-key"),
        ],
        className="rack-page",
    )
