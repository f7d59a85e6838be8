"""Every limit with its value, its unit, what it means, and the rules that go by it."""

from collections.abc import Sequence, Set

from dash import html
from dash.development.base_component import Component

from daemon.api.models import LimitView
from dashboard.pages.attributes import aria
from dashboard.words import sentence, shown, unit_sign

HEADS = ("Limit", "Value", "What it means")
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
            html.Div([_rule(rule, found, every) for rule, found in groups.items()], className="limit-sheets"),
        ],
        className="page wide",
    )


def _rule(rule: str, limits: Sequence[LimitView], every: Set[str]) -> Component:
    head = html.Thead(html.Tr([html.Th(name, scope="col") for name in HEADS]))
    rows = [_row(limit, rule, every) for limit in limits]
    table = html.Table([head, html.Tbody(rows)], className="limits")
    return html.Section([html.H2(rule, id=_anchor(rule)), table], className="limit-sheet")


def _row(limit: LimitView, rule: str, every: Set[str]) -> Component:
    own = [html.Span(f"{bay}: {value_of(limit, value)}", className="own") for bay, value in limit.bays.items()]
    users = _users(limit, rule, every)
    cells: list[list[Component | str]] = [
        [value_of(limit, limit.value), *own],
        [
            f"{sentence(limit.meaning.removesuffix(' ...').removeprefix('... '))}.",
            *([html.Small(["used by " if rule == SHARED else "also used by ", users])] if users else []),
        ],
    ]
    return html.Tr([html.Th(html.Code(limit.limit), scope="row"), *map(html.Td, cells)])


def _users(limit: LimitView, rule: str, every: Set[str]) -> str:
    # the rule under whose name it stands need not be said again
    if set(limit.rules) == every:
        return "every rule"
    return ", ".join(r for r in limit.rules if r != rule) if limit.rules else "figures that are shown"


def value_of(limit: LimitView, value: float) -> str:
    """A limit as a figure: shares in percent, all else in its unit."""
    if limit.unit == "/":
        return f"{value * 100:g}\u00a0%"
    figure = f"{round(shown(value, limit.unit), 3):,.10g}".replace(",", "\u202f").replace("-", "−")
    sign = unit_sign(limit.unit)
    return f"{figure}\u00a0{sign}" if sign else figure


def _anchor(rule: str) -> str:
    return rule.replace(" ", "-")
