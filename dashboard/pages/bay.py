"""One bay: its shelf, a form to start a soak or what soaks there now, every channel, every rule. Filled by scripts.

Where its supply was cut, assets/release.js puts the form that releases it under the shelf.
"""

from urllib.parse import quote

from dash import html
from dash.development.base_component import Component

from dashboard.pages.attributes import aria, data


def page(bay: str) -> Component:
    """The page of the bay of that name."""
    now = html.Section(id="bay-now", className="bay-now", hidden=True, **aria(label=f"On {bay} now"))
    return html.Main(
        [
            html.H1(bay, tabIndex="-1"),
            html.Div(className="rack", children=[html.Div(id="rack", className="shelves", **data(bay=bay))]),
            html.Div(id="bay-release", **data(bay=bay)),
            html.Div(
                [
                    html.Div([now, html.Div(_start(bay), id="start", **data(bay=bay))]),
                    html.Div(id="bay-details", **data(bay=bay)),
                ],
                className="two-columns",
            ),
        ],
        className="page wide",
    )


# choices, the plan's picture and what it asks come by assets/bay-start.js and assets/bay-booking.js, so that the page
# stands also while the daemon is silent; so do the boxes that are typed into: one that React draws puts back what it
# knew last while somebody types faster than the page keeps up, and the letters fall in another order
def _start(bay: str) -> Component:
    return html.Form(
        [
            html.H2("Start a soak"),
            html.P(
                "The radio stands on its dummy load, the load is rated for it, and nobody touches either.",
                className="caution",
            ),
            _field(
                "booking",
                "Booked in",
                html.Select([html.Option("none: write it here", value="")], id="booking", name="booking"),
            ),
            html.Fieldset(
                id="by-hand",
                **aria(label="Which unit"),
            ),
            html.Fieldset(
                [
                    _field(
                        "plan-choice",
                        "Plan",
                        html.Select([html.Option("as it is written below", value="")], id="plan-choice"),
                    ),
                    html.Div(className="plan-preview"),
                    html.Div(className="file-slot"),
                    html.Div(className="plan-slot"),
                ]
            ),
            html.Div(className="estimate-slot"),
            html.Pre(className="form-said", role="alert"),
            html.Button("Start the soak", type="submit", className="go"),
        ],
        action=f"/bay/{quote(bay, safe='')}/soak",
        method="post",
        className="start",
        **data(order="soak"),
    )


def _field(name: str, label: str, box: Component) -> Component:
    return html.Div([html.Label(label, htmlFor=name), box], className="field")
