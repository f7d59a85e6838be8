"""Two to six soaks side by side; the callbacks of dashboard/side_by_side.py fill it from the address."""

from collections.abc import Sequence

from dash import dcc, html
from dash.development.base_component import Component

from daemon.api.models import BandView
from dashboard.overlay import Soak
from dashboard.pages.attributes import aria, data
from dashboard.pages.verdict import badge
from dashboard.paper import empty, key_style
from dashboard.words import instant, number

MOVES = (
    ("whole", "Whole soaks"),
    ("earlier", "◀ Earlier"),
    ("later", "Later ▶"),
    ("closer", "+ Closer"),
    ("wider", "− Wider"),
)


def page() -> Component:
    """The page, before the soaks have come."""
    return html.Main(
        [
            html.H1("Side by side"),
            html.P(id="compare-said", role="status", className="compare-said"),
            html.Div(
                [
                    html.Section(
                        [
                            html.Div(
                                [
                                    html.Button(word, id=f"compare-{name}", type="button", className="quiet")
                                    for name, word in MOVES
                                ],
                                className="moves",
                                role="group",
                                **aria(label="Which part of the soaks the curves show"),
                            ),
                            html.Div(className="chart-tools", **data(graph="compare-curves", name="side by side")),
                            html.Div(
                                dcc.Graph(
                                    id="compare-curves",
                                    figure=empty("The curves are being fetched …"),
                                    config={"displayModeBar": False, "showTips": False, "responsive": True},
                                    style={"height": "100%"},
                                ),
                                className="curves",
                            ),
                        ],
                        className="charts",
                        **aria(label="Curves"),
                    ),
                    html.Aside(id="compare-beside", className="beside"),
                ],
                id="compare-sheet",
                className="job",
            ),
            dcc.Store(id="compare-span"),
            dcc.Store(id="compare-whole-s"),
        ],
        className="page wide",
    )


def beside(soaks: Sequence[Soak], band: BandView | None) -> list[Component]:
    """The key to the lines: each soak with its verdict and its hottest, and what the band is made of."""
    return [*(_card(i, soak) for i, soak in enumerate(soaks)), _band(band)]


def _card(style: int, soak: Soak) -> Component:
    job, colour, dash = soak.job, *key_style(style)
    others = [s for s in (job.unit, job.bay, f"plan “{job.plan.name}”") if s]
    return html.Section(
        [
            html.H2(
                [
                    html.Span(dash, className="line-key", style={"color": colour}, **aria(hidden="true")),
                    html.A(f"Job {job.job}", href=f"/job/{job.job}"),
                    html.Small(job.number),
                ]
            ),
            html.P([badge(job.verdict), f" hottest {number(job.figures.get('heatsink_max_c'), 'Cel')}"]),
            html.P(" · ".join(others)),
            html.P(f"{instant(job.started_ns)}, key-on after {number(soak.key_on_s, 's')}", className="soft"),
        ],
        className="soak-card",
    )


def _band(band: BandView | None) -> Component:
    if band is None or not band.at_s:
        why = "three soaks that passed before these, by the same plan, make one" if band is not None else "not now"
        text: list[str | Component] = [f"There is no band of earlier good units yet: {why}."]
    else:
        text = [
            f"The grey band is what {len(band.jobs)} earlier good units did by the same plan: nine in ten were above "
            "its foot, nine in ten under its top (10th to 90th percentile); dotted, the median."
        ]
    return html.Section([html.H2("Earlier good units"), html.P(text)])
