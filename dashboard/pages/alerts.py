"""Everything that needs a person. The list is drawn by assets/alerts.js from ``/live/alerts``; this is its place."""

from dash import html
from dash.development.base_component import Component

from dashboard.pages.attributes import aria


def page() -> Component:
    """The page of alerts, before the first answer has come."""
    return html.Main(
        [
            html.Div([html.H1("Alerts"), html.Div(id="who", className="who")], className="headline"),
            html.P(id="alerts-said", className="alerts-said", role="status"),
            html.Div(
                [
                    html.Div(
                        [
                            html.Section(
                                id="alert-list", className="rail", tabIndex="-1", **aria(label="Alerts that stand")
                            ),
                            html.Section(
                                id="alerts-hidden", className="rail-hidden", **aria(label="Put away, and over")
                            ),
                        ]
                    ),
                    html.Div(
                        [
                            html.Section(id="alert-rate", className="sheet"),
                            html.Section(id="sound", className="sheet"),
                            html.Section(id="tells", className="sheet"),
                        ],
                        className="alerts-aside",
                    ),
                ],
                className="alerts-page",
            ),
        ],
        className="page wide",
    )
