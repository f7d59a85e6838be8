"""Cautions, what this program does and does not guard against, and which versions of what stand behind it."""

from collections.abc import Mapping

from dash import html
from dash.development.base_component import Component

from dashboard.pages.attributes import aria

CAUTIONS = (
    (
        "RF burns",
        "Never touch an antenna socket, a feed line or a dummy load of a keyed radio. RF burns go deep and are "
        "felt late. Keep covers on; keep your distance from unshielded finals.",
    ),
    (
        "Hot metal",
        "Heatsinks and dummy loads stay hot long after unkeying, and look the same as cold ones. "
        "Let them cool before you handle them.",
    ),
    (
        "Mains and stored charge",
        "Supplies carry mains voltage; capacitors and batteries keep their charge. Isolate, wait, measure, then touch.",
    ),
    (
        "Fire",
        "A soak is heat on purpose. Keep the rack clear of anything that burns, have a detector and a suitable "
        "extinguisher at hand, and do not leave it unattended where your rules forbid that.",
    ),
    (
        "Unlicensed emission",
        "Soak into a rated dummy load, never into an antenna. Leaks and stray coupling can still be heard: keep to "
        "the licence under which you may transmit.",
    ),
)


def page(versions: Mapping[str, str]) -> Component:
    """The page of cautions and versions."""
    return html.Main(
        [
            html.H1("Cautions and versions"),
            html.P(
                "Local electrical, fire and radio rules, and the practice of licensed and qualified people, "
                "come before anything that this program says or does."
            ),
            html.Dl([_plate(name, text) for name, text in CAUTIONS], className="cautions"),
            html.H2("What unkeying can and can't do"),
            html.P(
                "The daemon lends each node the key for a few seconds and keeps renewing the loan. When a rule trips, "
                "when you press Unkey, or when the daemon, the cable or the broker dies, the loan ends and the node "
                "unkeys by itself. It is no emergency stop: it can't help against a welded key relay or a failed "
                "node. Keep a switch within reach that takes the supply away from the whole rack."
            ),
            html.P("If the page says that unkeying failed: pull the key line, or switch the supply off, at once."),
            html.H2("Versions"),
            html.Dl(
                [part for name, text in versions.items() for part in (html.Dt(name), html.Dd(text))], className="facts"
            ),
        ],
        className="page about",
    )


def _plate(name: str, text: str) -> Component:
    sign = html.I(className="shape shape-warning", **aria(hidden="true"))
    return html.Div([html.Dt([sign, name]), html.Dd(text)])
