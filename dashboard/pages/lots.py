"""Lots: what the units of one kind and device lot tell together, each figure a strip with the band of the good ones."""

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from daemon.api.lot_models import LEAST_UNITS, NAMES, Band, Heat, LotView, Outside, in_words, named
from dashboard.pages.attributes import aria
from dashboard.words import duration, number, sentence, unit_sign

#: what would give a figure that units lack
_LACKS = {
    "idle_per_k_a": "It needs a plan with an idle phase cold and another hot, as the evening soak and two hours have.",
    "case_k_per_w": "It needs a temperature sensor at each device (case-1 and on).",
}
#: of a strip: in a band that is no wider the middle's figure has no room on a phone
_NARROW = 0.35


def page(lots: Sequence[LotView]) -> Component:
    """The largest lot first."""
    return html.Main(
        [
            html.H1("Lots"),
            html.P(
                "Units of one kind with devices of one type and lot ought to be alike. The band is where the good ones "
                "lie; a poor or counterfeit device stands outside long before it fails.",
                className="lead",
            ),
            *([_legend()] if any(lot.bands for lot in lots) else []),
            *([_lot(lot) for lot in lots] or [_empty()]),
        ],
        className="page wide",
    )


def _legend() -> Component:
    marks = (("lot-unit", "a good unit"), ("lot-unit not-good", "one that did not pass"))
    words = [html.Span([html.I(className=look, **aria(hidden="true")), word]) for look, word in marks]
    return html.P(
        [*words, html.Span([html.B("✕", **aria(hidden="true")), "one outside the band"])], className="lot-legend"
    )


def _empty() -> Component:
    return html.P(
        [
            "No soak is over yet. ",
            html.A("Book units in", href="/book"),
            " with kind, device type and lot, and soak them: from the fifth good unit of a lot on there is a band.",
        ],
        className="nothing",
    )


def _lot(lot: LotView) -> Component:
    devices = " ".join(part for part in (lot.device_type, named("lot", lot.lot)) if part)
    name = ", ".join(part for part in (lot.kind, devices) if part)
    passed = f"{lot.units} {'unit' if lot.units == 1 else 'units'}, {lot.passed} passed"
    return html.Section(
        [
            html.Header([html.H2(name), html.P(passed)]),
            *(_strip(band, [o for o in lot.outside if o.figure == band.figure]) for band in lot.bands),
            *([_heat(lot.heat)] if lot.heat else []),
            _said(lot),
            _not_judged(lot),
        ],
        className="lot",
        **aria(label=name),
    )


def _strip(band: Band, outside: Sequence[Outside]) -> Component:
    values = [band.low, band.high, *(o.value for o in outside), *(u.value for u in band.units)]
    room = (max(values) - min(values) or abs(band.middle) or 1.0) * 0.2
    low, high = min(values) - room, max(values) + room

    def at(value: float) -> str:
        return f"{(value - low) / (high - low) * 100:.2f}%"

    wide = (band.high - band.low) / (high - low)
    pins = [
        html.A(
            [html.Span("✕", **aria(hidden="true")), html.Small(_figure(o.value, band))],
            href=f"/job/{o.job}",
            className="pin",
            style={"left": at(o.value)},
            **aria(label=f"{o.unit}, job {o.job}: {_figure(o.value, band)} {_sign(band)}"),
        )
        for o in outside
    ]
    out = {o.job for o in outside}
    marks = [
        html.I(
            className="lot-unit" if unit.passed else "lot-unit not-good",
            style={"left": at(unit.value)},
            title=f"{unit.unit}, job {unit.job}: {_figure(unit.value, band)} {_sign(band)}".rstrip(),
            **aria(hidden="true"),
        )
        for unit in band.units
        if unit.job not in out
    ]
    return html.Div(
        [
            html.P([html.B(NAMES.get(band.figure, band.figure)), html.Span(_sign(band))], className="lot-figure"),
            html.Div(
                [
                    html.Div(className="lot-band", style={"left": at(band.low), "width": f"{wide:.2%}"}),
                    html.Div(className="lot-middle", style={"left": at(band.middle)}),
                    html.Small(_figure(band.low, band), className="lot-mark low", style={"left": at(band.low)}),
                    html.Small(
                        _figure(band.middle, band),
                        className="lot-mark" if wide > _NARROW else "lot-mark middle",
                        style={"left": at(band.middle)},
                    ),
                    html.Small(_figure(band.high, band), className="lot-mark high", style={"left": at(band.high)}),
                    *marks,
                    *pins,
                ],
                className="lot-strip",
            ),
        ],
        className="lot-row",
    )


def _said(lot: LotView) -> Component:
    if not lot.bands:
        return html.P(
            f"No band yet: one needs {LEAST_UNITS} good units that have a figure, and there are {lot.passed}.",
            className="lot-quiet",
        )
    said = [
        html.Li([html.B("Outside. "), _plain(o.text), " ", html.A(f"Job {o.job}", href=f"/job/{o.job}")])
        for o in lot.outside
    ]
    said += [
        html.Li([html.B("Drift. "), _plain(t.text), " ", html.A(f"Job {t.job}", href=f"/job/{t.job}")])
        for t in lot.trends
    ]
    if not said:
        return html.P("✓ Nobody stands outside, and nothing drifts.", className="lot-quiet")
    return html.Ul(said, className="lot-said")


def _plain(text: str) -> str:
    return sentence(in_words(text)).rstrip(".") + "."


def _not_judged(lot: LotView) -> Component:
    if not lot.not_judged or not lot.bands:
        return html.Div()
    rows = [html.Li(f"{NAMES.get(f, f)}: {why}. {_LACKS.get(f, '')}".rstrip()) for f, why in lot.not_judged.items()]
    return html.Details([html.Summary("What could not be judged"), html.Ul(rows)])


def _heat(heat: Heat) -> Component:
    return html.P(
        f"Time at temperature: a soak of a good unit stands for {duration(heat.least_s)} to {duration(heat.most_s)} at "
        f"{number(heat.service_c, 'Cel')} of heatsink, all {heat.units} together for {duration(heat.total_s)} "
        f"(Arrhenius with an activation energy of {heat.activation_ev:g} eV, an assumption; both can be set in a "
        "plan’s limits: activation_ev, service_c).",
        className="lot-quiet lot-heat",
    )


def _figure(value: float, band: Band) -> str:
    value, scale = value * _scale(band), max(abs(band.low), abs(band.high)) * _scale(band)
    places = 0 if scale >= 1000 else 1 if scale >= 20 else 2 if scale >= 1 else 3 if scale >= 0.1 else 5
    return f"{value:.{places}f}".replace("-", "−")


def _sign(band: Band) -> str:
    return {"A/K": "mA/K", "1": "%"}.get(band.unit) or unit_sign(band.unit)


def _scale(band: Band) -> float:
    # thousandths of an ampere read better than 0.00420, hundredths better than a ratio
    return {"A/K": 1000.0, "1": 100.0}.get(band.unit, 1.0)
