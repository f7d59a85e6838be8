"""Every limit with its value, its unit, what it means, and the rules that go by it."""

from collections.abc import Sequence, Set

from dash import html
from dash.development.base_component import Component

from daemon.api.models import LimitView
from dashboard.pages.attributes import aria, data
from dashboard.words import sentence, shown, unit_sign

HEADS = ("Limit", "Value", "What it means", "Used by")
SHARED = "shared by rules"


def page(limits: Sequence[LimitView]) -> Component:
    """One table a rule, in the order in which the limits stand in ``alerts/limits.py``; before them what many share."""
    every = {rule for limit in limits for rule in limit.rules}
    groups: dict[str, list[LimitView]] = {SHARED: []}
    for limit in limits:
        groups.setdefault(limit.rules[0] if len(limit.rules) in (1, 2) else SHARED, []).append(limit)
    return html.Main(
        [
            html.H1("Limits"),
            html.P(
                [
                    "What the rules go by. These are the defaults, for a 25 W mobile unit at 13.8 V; a plan changes "
                    "what it names under ",
                    html.Code("[limits]"),
                    ". Where a bay's plan has another value, it stands here by the bay.",
                ],
                className="lead",
            ),
            html.Nav(
                [html.A(rule, href=f"#{_anchor(rule)}", className="jump") for rule in groups],
                className="jumps",
                **aria(label="Rules"),
            ),
            *(_rule(rule, found, every) for rule, found in groups.items()),
        ],
        className="page wide",
    )


def _rule(rule: str, limits: Sequence[LimitView], every: Set[str]) -> Component:
    head = html.Thead(html.Tr([html.Th(name, scope="col") for name in HEADS]))
    rows = [_row(limit, every) for limit in limits]
    table = html.Table([head, html.Tbody(rows)], className="limits")
    return html.Section([html.H2(rule, id=_anchor(rule)), table], className="limit-sheet")


def _row(limit: LimitView, every: Set[str]) -> Component:
    own = [html.Span(f"{bay}: {value_of(limit, value)}", className="own") for bay, value in limit.bays.items()]
    cells: list[str | list[Component | str]] = [
        [value_of(limit, limit.value), *own],
        f"{sentence(limit.meaning.removesuffix(' ...').removeprefix('... '))}.",
        "every rule" if set(limit.rules) == every else ", ".join(limit.rules) or "no rule; a figure that is shown",
    ]
    named = [html.Td(cell, **data(head=head)) for head, cell in zip(HEADS[1:], cells, strict=True)]
    return html.Tr([html.Th(html.Code(limit.limit), scope="row"), *named])


def value_of(limit: LimitView, value: float) -> str:
    """A limit as a figure: shares in percent, all else in its unit."""
    if limit.unit == "/":
        return f"{value * 100:g}\u00a0%"
    figure = f"{round(shown(value, limit.unit), 3):,.10g}".replace(",", "\u202f").replace("-", "−")
    sign = unit_sign(limit.unit)
    return f"{figure}\u00a0{sign}" if sign else figure


def _anchor(rule: str) -> str:
    return rule.replace(" ", "-")
