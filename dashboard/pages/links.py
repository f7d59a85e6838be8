"""Sensors and links: what comes over each bay's wire, and each channel's last reading. Drawn by assets/links.js."""

from dash import html
from dash.development.base_component import Component


def page() -> Component:
    """The page of sensors and links, before the first answer has come."""
    return html.Main(
        [
            html.H1("Sensors and links"),
            html.P(
                "A node sends one pack for each sample. What is lost, damaged or refused on the way is counted since "
                "the daemon started, and shown here; nothing of it stops the others.",
                className="lead",
            ),
            html.P(id="links-said", className="alerts-said", role="status"),
            html.Div(id="links", className="link-sheets"),
        ],
        className="page wide",
    )
