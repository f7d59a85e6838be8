"""One bay: its shelf, a form to start a soak, every channel, every rule, its link. Filled by assets/bay.js."""

from urllib.parse import quote

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.pages.attributes import aria, data
from dashboard.plans import PLANS


def page(bay: str) -> Component:
    """The page of the bay of that name."""
    return html.Main(
        [
            html.H1(bay),
            html.Div(className="rack", children=[html.Div(id="rack", className="shelves", **data(bay=bay))]),
            html.Div([_start(bay), html.Div(id="bay-details", **data(bay=bay))], className="two-columns"),
        ],
        className="page wide",
    )


def _start(bay: str) -> Component:
    first = next(iter(PLANS))
    return html.Form(
        [
            html.H2("Start a soak"),
            html.P(
                "The radio stands on its dummy load, the load is rated for it, and nobody touches either.",
                className="caution",
            ),
            # its choices come by assets/bay-booking.js, so that the page stands also while the daemon is silent
            _field(
                "booking",
                "Booked in",
                html.Select([html.Option("none: write it here", value="")], id="booking", name="booking"),
            ),
            html.Fieldset(
                [
                    _field("number", "Job number", dcc.Input(id="number", name="number", type="text", debounce=True)),
                    _field("unit", "Unit", dcc.Input(id="unit", name="unit", type="text", debounce=True)),
                ],
                id="by-hand",
                **aria(label="Which unit"),
            ),
            html.Fieldset(
                [
                    html.Legend("Plan"),
                    html.Div(
                        [
                            html.Button(name, type="button", className="quiet", **data(fill="plan", text=text))
                            for name, text in PLANS.items()
                        ],
                        className="choices",
                    ),
                    html.Div(id="plan-file", className="file-slot", **data(file_for="plan")),
                    html.Label("Text of the plan", htmlFor="plan"),
                    dcc.Textarea(id="plan", name="plan", value=PLANS[first], rows=12, spellCheck=False),
                ]
            ),
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
