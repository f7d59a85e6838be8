"""What all charts are drawn with: one time axis in minutes, charts stacked on it, the plan hatched at the foot.

Colours are Okabe & Ito's (2008), chosen to be told apart on light and on dark paper; each series of a chart also has
its own dash, so that colour is never the only difference. Text and grid colours come from assets/charts.css.
"""

from collections.abc import Sequence
from math import ceil, floor
from typing import Any, NamedTuple

from daemon.api.aligned import WAITED
from daemon.api.models import Curve, PhaseView, PlanView
from dashboard.words import shown, unit_sign

VERMILLION, BLUE, GREEN, PURPLE, ORANGE, SKY = "#d55e00", "#0f7ac0", "#00946c", "#c0689a", "#bb7f00", "#3390c6"
#: the ink of limits and tags: a grey with 3:1 against both papers
INK = "#8a8274"

HATCHES = {"off": "", "idle": ".", "carrier": "/", "two-tone": "x", "modulated": "|", WAITED: "-"}
FONT = 'system-ui, "Segoe UI", Roboto, "Noto Sans", "Liberation Sans", sans-serif'


class Panel(NamedTuple):
    """One of the stacked charts."""

    title: str
    channels: tuple[str, ...]
    share: float  # of the height


COLOURS = (VERMILLION, BLUE, GREEN, PURPLE, ORANGE, SKY, INK)
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot", "dot")
_DASH_SIGNS = {
    "solid": "━━",
    "dot": "┉┉",
    "dash": "╍╍",
    "dashdot": "╍·",
    "longdash": "━ ━",
    "longdashdot": "━ ·",
}
_BAND, _GAP = 0.05, 0.045


#: beyond this a time axis is read in hours
LONG_S = 3 * 3600.0
_HOURS = (0.5, 1, 2, 3, 4, 6, 12, 24, 48)


def plain_layout(from_s: float, to_s: float, axis: str) -> dict[str, Any]:
    """The layout of charts on one time axis, in minutes, with a cursor over all of them; ``axis`` is what it counts
    from. A long one has hours at its foot."""
    ticks: dict[str, Any] = {}
    if long := to_s - from_s > LONG_S:
        step_h = next((h for h in _HOURS if (to_s - from_s) / 3600 / h <= 12), 7 * 24)
        marks = [i * step_h for i in range(ceil(from_s / 3600 / step_h), floor(to_s / 3600 / step_h) + 1)]
        ticks = {"tickmode": "array", "tickvals": [60 * h for h in marks], "ticktext": [f"{h:g}" for h in marks]}
    axis = f"{'hours' if long else 'minutes'} {axis}"
    return {
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "margin": {"l": 48, "r": 14, "t": 44, "b": 40},
        "font": {"size": 12, "family": FONT},
        "showlegend": False,
        "barmode": "overlay",
        "dragmode": "zoom",
        "hovermode": "x unified",
        "hoversubplots": "axis",
        "xaxis": {
            "anchor": "y",
            "title": {"text": axis, "standoff": 4},
            "range": [from_s / 60, max(to_s, from_s + 1) / 60],
            "showspikes": True,
            "spikemode": "across",
            "spikesnap": "cursor",
            "spikethickness": 1,
            "spikedash": "solid",
            "spikecolor": INK,
            "hoverformat": ".2f",
            "unifiedhovertitle": {"text": "%{x:.2f} min"},
            "zeroline": False,
            **ticks,
        },
        # the plan's band, at the foot
        "yaxis": {
            "domain": [0, _BAND],
            "showticklabels": False,
            "fixedrange": True,
            "showgrid": False,
            "range": [-0.5, 0.5],
        },
        "shapes": [],
        "annotations": [],
    }


def empty(said: str = "") -> dict[str, Any]:
    """What stands on the paper while there are no curves: a library's own empty picture is white, in the dark too."""
    layout = plain_layout(0.0, 60.0, "")
    word = {"xref": "paper", "yref": "paper", "x": 0.5, "y": 0.5, "showarrow": False, "font": {"size": 15}}
    hidden: dict[str, Any] = {"visible": False}
    return {
        "data": [],
        "layout": layout | {"xaxis": hidden, "yaxis": hidden, "annotations": [word | {"text": said}]},
    }


def domains(panels: Sequence[Panel]) -> list[list[float]]:
    """The vertical extent of each chart, from the top down in their order; the plan's band keeps the foot."""
    room = 1.0 - _BAND - _GAP * len(panels)
    whole = sum(p.share for p in panels) or 1.0
    top, found = 1.0, []
    for panel in panels:
        height = room * panel.share / whole
        found.append([round(top - height, 4), round(top, 4)])
        top -= height + _GAP
    return found


def heights(curve: Curve) -> list[float | None]:
    """A curve's values as the viewer reads them."""
    return curve.value if curve.unit != "Cel" else [None if v is None else shown(v, "Cel") for v in curve.value]


def plan_bar(plan: PlanView, drive: str, shown_s: float, zero_s: float = 0.0) -> dict[str, Any]:
    """The phases of one drive in the plan's band, hatched; ``zero_s`` is where the time axis begins."""
    phases = [p for p in plan.phases if p.drive == drive]
    return {
        "type": "bar",
        "orientation": "h",
        "name": drive,
        "base": [(p.start_s - zero_s) / 60 for p in phases],
        "x": [(p.end_s - p.start_s) / 60 for p in phases],
        "y": [0] * len(phases),
        "width": 1,
        "xaxis": "x",
        "yaxis": "y",
        "text": [_phase_word(p, shown_s) for p in phases],
        "textangle": 0,
        "textposition": "inside",
        "insidetextanchor": "middle",
        "constraintext": "none",
        "hoverinfo": "skip",
        "cliponaxis": True,
        "marker": {
            "color": "rgba(0,0,0,0)",
            "line": {"color": INK, "width": 1},
            "pattern": {
                "shape": HATCHES[drive],
                "fgcolor": INK,
                "fgopacity": 0.45,
                "size": 7,
                "bgcolor": "rgba(0,0,0,0)",
            },
        },
    }


def _phase_word(phase: PhaseView, shown_s: float) -> str:
    # as much as fits: about 110 letters are as wide as the whole chart
    room = 110 * (phase.end_s - phase.start_s) / max(shown_s, 1.0)
    full = phase.drive if phase.on_s is None else f"{phase.drive} {phase.on_s:g} s on, {phase.off_s:g} s off"
    return next((word for word in (full, phase.drive) if len(word) < room), "")


def key_to(at: int, name: str) -> str:
    """The colour and the dash of the line that is drawn in the ``at``-th style, before its name."""
    colour = COLOURS[at]
    return f'<span style="color:{colour};fill:{colour}">{_DASH_SIGNS[DASHES[at]]}</span> {name}'


def key_style(at: int) -> tuple[str, str]:
    """The colour, and the dash as a sign, of the line that is drawn in the ``at``-th style."""
    return COLOURS[at], _DASH_SIGNS[DASHES[at]]


def tall(names: Sequence[str]) -> bool:
    """Whether these keys take two lines: in one, a phone has no room for them."""
    return len(names) > 3


def heading(title: str, names: Sequence[str], top: float) -> dict[str, Any]:
    """What stands over a chart: what it shows, and the keys to its lines."""
    at = 2 if tall(names) else len(names)
    return {
        "xref": "paper",
        "x": 0,
        "xanchor": "left",
        "yref": "paper",
        "y": top,
        "yanchor": "bottom",
        "align": "left",
        "text": "<br>".join("   ".join(line) for line in ([f"<b>{title}</b>", *names[:at]], names[at:]) if line),
        "showarrow": False,
    }


def limit_line(limit: float, axis: str) -> dict[str, Any]:
    """A limit across a chart, in the viewer's degrees."""
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "yref": axis,
        "y0": limit,
        "y1": limit,
        "line": {"color": VERMILLION, "width": 1.5, "dash": "dash"},
    }


def limit_word(limit: float, axis: str) -> dict[str, Any]:
    """And what it is."""
    return {
        "xref": "paper",
        "x": 1,
        "xanchor": "right",
        "yref": axis,
        "y": limit,
        "yanchor": "bottom",
        "text": f"limit {limit:g} {unit_sign('Cel')}",
        "showarrow": False,
    }
