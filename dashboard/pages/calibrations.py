"""Calibrations: a channel's readings beside a reference instrument, and what is in force. Drawn by a script."""

from dash import html
from dash.development.base_component import Component

from dashboard.pages.attributes import aria


def page() -> Component:
    """The page of calibrations, before the first answer has come."""
    return html.Main(
        [
            html.H1("Calibrations"),
            html.P(
                "Hold a channel against a reference instrument: at two points or more, spread over the range in which "
                "it is read, take what the bay reads and type in what the reference shows. A new calibration takes the "
                "place of the one before, which stays in the list. A power detector whose node sends volts gets a "
                "table: straight between its points, nothing beyond them.",
                className="lead",
            ),
            html.P(
                "Reference probes touch hot and live parts: RF burns, hot metal, mains. Unkey before you touch them.",
                className="caution",
            ),
            html.P(id="calibration-news", className="alerts-said", role="status"),
            html.Div(id="calibration-bench", className="calibration-bench"),
            html.Section(id="calibration-list", className="calibration-list", **aria(label="Calibrations until now")),
        ],
        className="page wide",
    )
