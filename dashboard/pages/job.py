"""One job: its curves on one time axis, and beside them the verdict with its reasons, figures and limits."""

from collections.abc import Mapping

from dash import dcc, html
from dash.development.base_component import Component

from daemon.api.aligned import as_run, lasted_s
from daemon.api.booking_models import BookingView
from daemon.api.errors import ApiError
from daemon.api.models import CurvesView, JobView
from dashboard.charts import figure, numbered
from dashboard.pages.attributes import aria, data
from dashboard.pages.set_up import set_up
from dashboard.pages.verdict import badge
from dashboard.paper import empty
from dashboard.words import duration, figure_name, instant, number, sentence

MOVES = (
    ("whole", "Whole soak"),
    ("earlier", "◀ Earlier"),
    ("later", "Later ▶"),
    ("closer", "+ Closer"),
    ("wider", "− Wider"),
)

#: what is asked for first, by the beginnings of figures' names
_ORDER = ("heatsink_max", "case", "drain_", "forward", "swr", "supply", "key_down", "rf_", "drawn", "frames", "gap")

FORMS = (
    ("csv", "CSV", "a table of all readings, for a spreadsheet"),
    ("parquet", "Parquet", "the same table, small and with types, for analysis"),
    ("senml", "Recording", "one SenML pack a line, which keysoak replay reads"),
)


def page(job: JobView, curves: CurvesView | ApiError, booking: BookingView | None = None) -> Component:
    """The page of a job with its curves, or with what kept them from being fetched, and its set-up sheet where it was
    booked in; the callbacks of dashboard/callbacks.py zoom, and keep a running job fresh."""
    running = job.ended_ns is None
    live = (
        # this job's own shelf, with its red button; hidden as soon as the bay soaks something else
        [
            html.Div(
                className="rack",
                children=[html.Div(id="rack", className="shelves", **data(bay=job.bay, job=str(job.job)))],
            )
        ]
        if running
        else []
    )
    return html.Main(
        [
            html.H1([f"Job {job.job}", html.Small(" ".join(filter(None, (job.number, job.unit))))]),
            *live,
            html.Div(
                [
                    html.Section(
                        [
                            html.Div(
                                [
                                    html.Button(word, id=f"move-{name}", type="button", className="quiet")
                                    for name, word in MOVES
                                ],
                                className="moves",
                                role="group",
                                **aria(label="Which part of the soak the curves show"),
                            ),
                            html.Div(className="chart-tools", **data(graph="curves", name=f"job {job.job}")),
                            html.P(
                                not_fetched(curves) if isinstance(curves, ApiError) else how_many(curves),
                                id="curves-said",
                                role="status",
                                className="curves-said",
                            ),
                            html.Div(
                                dcc.Graph(
                                    id="curves",
                                    figure=empty() if isinstance(curves, ApiError) else figure(job, curves),
                                    config={"displayModeBar": False, "showTips": False, "responsive": True},
                                    style={"height": "100%"},
                                ),
                                className="curves",
                            ),
                        ],
                        className="charts",
                        **aria(label="Curves"),
                    ),
                    html.Aside(
                        [html.Div(aside(job), id="beside"), *([set_up(booking)] if booking else [])],
                        className="beside",
                        **aria(label="What came of it, and how it was set up"),
                    ),
                    html.Div(beneath(job), id="beneath"),
                ],
                className="job",
            ),
            dcc.Store(id="span"),
            dcc.Store(id="whole-s", data=whole(job)),
            dcc.Store(id="job-number", data=job.job),
            dcc.Interval(id="job-tick", interval=2000, disabled=not running),
        ],
        className="page wide",
    )


def whole(job: JobView) -> list[float]:
    """The first and the last moment of a soak's time axis, in seconds: its plan's time and what it waited, or its own
    where that is longer."""
    lasted = lasted_s(job)
    return [0.0, max(as_run(job.plan, job.waits, lasted).total_s, lasted if job.ended_ns else 0.0)]


def how_many(curves: CurvesView) -> str:
    """What is said over the curves."""
    return "" if curves.frames else "No readings lie in this part of the soak."


def not_fetched(err: ApiError) -> str:
    """What is said where there are none."""
    return f"The curves could not be fetched: {err.why}"


def aside(job: JobView) -> list[Component]:
    """What stands beside the curves."""
    reasons = [html.Ul([html.Li(sentence(r)) for r in job.reasons])] if job.reasons else []
    return [
        html.Section([html.H2("Verdict"), html.P(badge(job.verdict), role="status"), *reasons], className="verdict"),
        html.Section(
            [
                html.H2("Soak"),
                _facts(
                    {
                        "bay": html.A(job.bay, href=f"/bay/{job.bay}"),
                        "plan": f"{job.plan.name}, {duration(job.plan.total_s)}",
                        "started": instant(job.started_ns),
                        "ended": instant(job.ended_ns) if job.ended_ns else "still running",
                        **({"lasted": duration(lasted_s(job))} if job.ended_ns else {}),
                        **({"stood still": _stood(job)} if job.waits else {}),
                    }
                ),
            ]
        ),
        *_calibrated_since(job),
        html.Section([html.H2("Take it away"), *_downloads(job)]),
        html.Section(html.Details([html.Summary("Limits"), _numbers(job.limits)])),
    ]


def beneath(job: JobView) -> list[Component]:
    """What stands under the curves, as wide as they are."""
    figures = {name: value for name, value in sorted(_told(job).items(), key=lambda one: (_first(one[0]), one[0]))}
    return [
        html.Section([html.H2("Alerts"), _tags(job)]),
        *(
            [html.Section([html.H2("Figures"), _numbers(figures), *_heat(job)], className="figures-sheet")]
            if job.figures
            else []
        ),
    ]


def _first(name: str) -> int:
    return next((i for i, start in enumerate(_ORDER) if name.startswith(start)), len(_ORDER))


def _stood(job: JobView) -> str:
    waited_s = sum((lasted_s(job) if w.until_s is None else w.until_s) - w.at_s for w in job.waits)
    return f"{duration(waited_s)}, for a person"


def _downloads(job: JobView) -> list[Component]:
    frames = job.figures.get("frames")
    links = [
        html.A(
            word,
            href=f"/job/{job.job}/export?form={form}",
            download=f"job-{job.job}.{form}",
            title=what,
            **data(export=form, frames=f"{frames or 1:.0f}"),
        )
        for form, word, what in FORMS
    ]
    if job.ended_ns is not None:
        links += [html.A(f"Certificate {e.upper()}", href=f"/job/{job.job}/certificate.{e}") for e in ("pdf", "html")]
    return [html.Div(links, className="downloads"), html.P(className="download-said", role="status")]


def _tags(job: JobView) -> Component:
    if not job.tags:
        return html.P("None: a quiet soak.")
    return html.Ol(
        [
            html.Li(
                [
                    html.B(
                        [
                            html.I(className=f"shape shape-{t.priority}"),
                            "trip: unkeyed " if t.event == "trip" else f"{t.priority}, {t.event} ",
                        ]
                    ),
                    html.Span(f"at {duration(t.at_s)}. {sentence(t.text)}"),
                ]
            )
            for _, t in numbered(job.tags)
        ],
        className="tags",
    )


def _calibrated_since(job: JobView) -> list[Component]:
    if not job.calibrated_since:
        return []
    named = ", ".join(f"{channel} (calibration {one})" for channel, one in sorted(job.calibrated_since.items()))
    return [
        html.Section(
            [
                html.H2("Calibrated since"),
                html.P([f"After this soak {named}. What stands here is as it was read then; by the new ones:"]),
                html.P(html.Code(f"keysoak recompute {job.job} job-{job.job}-anew.senml")),
            ]
        )
    ]


def _heat(job: JobView) -> list[Component]:
    heat_s, limits = job.figures.get("heat_equivalent_s"), job.limits
    if not heat_s or "service_c" not in limits or "activation_ev" not in limits:
        return []
    return [
        html.P(
            f"Time at temperature: the heatsink’s stands for {duration(heat_s)} at "
            f"{number(limits['service_c'], 'Cel')} (Arrhenius, activation energy {limits['activation_ev']:g} eV, "
            "an assumption).",
            className="small",
        )
    ]


def _told(job: JobView) -> dict[str, float | None]:
    """The figures as they are shown: a ratio in percent, time at temperature by the terms that it was reckoned with."""
    told = {name: value for name, value in job.figures.items() if name not in ("energy_j", "heat_equivalent_s")}
    if "drawn_energy_j" not in told and "energy_j" in job.figures:
        told["drawn_energy_j"] = job.figures["energy_j"]  # as older versions called it
    if (ratio := told.get("efficiency_ratio")) is not None:
        told["efficiency_ratio"] = 100.0 * ratio
    return told


def _numbers(values: Mapping[str, float | None]) -> Component:
    rows: dict[str, str | Component] = {}
    for name, value in values.items():
        plain, unit = figure_name(name)
        rows[plain] = duration(value) if unit == "s" and (value or 0) >= 60 else number(value, unit)
    return _facts(rows)


def _facts(rows: Mapping[str, str | Component]) -> Component:
    return html.Dl([html.Div([html.Dt(k), html.Dd(v)]) for k, v in rows.items()], className="facts")
