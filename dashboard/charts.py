"""The curves of one job as a plotly figure: charts stacked on one time axis, the plan as a band under them.

Colours are Okabe & Ito's (2008), chosen to be told apart on light and on dark paper; each series of a chart also has
its own dash, so that colour is never the only difference. Text and grid colours come from assets/charts.css.
"""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from daemon.api.models import Curve, CurvesView, JobView, PhaseView, PlanView, Tag
from dashboard.words import unit_sign

VERMILLION, BLUE, GREEN, PURPLE, ORANGE, SKY = "#d55e00", "#0f7ac0", "#00946c", "#c0689a", "#bb7f00", "#3390c6"
#: the ink of limits and tags: a grey with 3:1 against both papers
INK = "#8a8274"

HATCHES = {"off": "", "idle": ".", "carrier": "/", "two-tone": "x", "modulated": "|"}
_TAG_SHAPES = {"advisory": "●", "warning": "▲", "trip": "◆"}
FONT = 'system-ui, "Segoe UI", Roboto, "Noto Sans", "Liberation Sans", sans-serif'


class Panel(NamedTuple):
    """One of the stacked charts."""

    title: str
    channels: tuple[str, ...]
    share: float  # of the height


PANELS = (
    Panel("temperature, °C", ("heatsink", "case-1", "case-2", "case-3", "case-4", "load", "ambient"), 0.32),
    Panel("drain current, A", ("drain-1", "drain-2", "drain-3", "drain-4"), 0.22),
    Panel("power, W", ("forward", "peak", "reflected"), 0.22),
    Panel("SWR", ("swr",), 0.1),
    Panel("supply, V", ("supply",), 0.14),
    Panel("bias, V", ("bias-1", "bias-2", "bias-3", "bias-4"), 0.12),
)
_COLOURS = (VERMILLION, BLUE, GREEN, PURPLE, ORANGE, SKY, INK)
_DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot", "dot")
_DASH_SIGNS = {
    "solid": "━━",
    "dot": "┈┈",
    "dash": "╍╍",
    "dashdot": "╍·",
    "longdash": "━ ━",
    "longdashdot": "━ ·",
}
_BAND, _GAP = 0.05, 0.045


def figure(job: JobView, curves: CurvesView) -> dict[str, Any]:
    """The figure; times in minutes since the start of the soak. Charts without any curve are left out."""
    by_name = {c.channel: c for c in curves.curves}
    panels = [p for p in PANELS if any(name in by_name for name in p.channels)]
    floors = _domains(panels)
    traces: list[dict[str, Any]] = [_plan_bar(job.plan, drive, curves.to_s - curves.from_s) for drive in HATCHES]
    layout = _layout(job, curves)
    layout["yaxis"] = {
        "domain": [0, _BAND],
        "showticklabels": False,
        "fixedrange": True,
        "showgrid": False,
        "range": [-0.5, 0.5],
    }
    for at, (panel, domain) in enumerate(zip(panels, floors, strict=True), start=2):
        layout[f"yaxis{at}"] = {
            "domain": domain,
            "fixedrange": True,
            "zeroline": False,
            "nticks": 5,
            "autorangeoptions": {"include": _always_shown(panel, by_name)},
        }
        present = [name for name in panel.channels if name in by_name]
        layout["annotations"].append(_heading(panel, present, domain[1]))
        traces += [_line(by_name[name], i, f"y{at}") for i, name in enumerate(panel.channels) if name in by_name]
        if panel.channels[0] == "heatsink" and (limit_c := job.limits.get("heatsink_c")) is not None:
            layout["shapes"].append(_limit_line(limit_c, f"y{at}"))
            layout["annotations"].append(_limit_word(limit_c, f"y{at}"))
    return {"data": traces, "layout": layout}


def _always_shown(panel: Panel, by_name: Mapping[str, Curve]) -> list[float]:
    # noise alone must not fill a chart
    if panel.title.startswith("power"):
        return [0.0, 5.0]
    if panel.title.startswith(("drain", "bias")):
        return [0.0, 1.0]
    if panel.title == "SWR":
        return [1.0, 1.5]
    curve = by_name.get(panel.channels[0])
    first = next((v for v in curve.value if v is not None), None) if curve else None
    spread = 0.5 if panel.title.startswith("supply") else 5.0
    return [] if first is None else [first - spread, first + spread]


def _domains(panels: Sequence[Panel]) -> list[list[float]]:
    # from the top down, in the order of PANELS; the plan's band keeps the foot
    room = 1.0 - _BAND - _GAP * len(panels)
    whole = sum(p.share for p in panels) or 1.0
    top, found = 1.0, []
    for panel in panels:
        height = room * panel.share / whole
        found.append([round(top - height, 4), round(top, 4)])
        top -= height + _GAP
    return found


def _line(curve: Curve, at: int, axis: str) -> dict[str, Any]:
    sign = unit_sign(curve.unit)
    return {
        "type": "scatter",
        "mode": "lines",
        "name": curve.channel,
        "x": [s / 60 for s in curve.at_s],
        "y": curve.value,
        "xaxis": "x",
        "yaxis": axis,
        "connectgaps": False,
        "line": {"color": _COLOURS[at], "dash": _DASHES[at], "width": 1.6},
        "hovertemplate": f"%{{y:.3~f}} {sign}",
    }


def _plan_bar(plan: PlanView, drive: str, shown_s: float) -> dict[str, Any]:
    phases = [p for p in plan.phases if p.drive == drive]
    return {
        "type": "bar",
        "orientation": "h",
        "name": drive,
        "base": [p.start_s / 60 for p in phases],
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


def _heading(panel: Panel, present: Sequence[str], top: float) -> dict[str, Any]:
    # the key to the lines stands over each chart: a colour and a dash before each name
    names = [
        f'<span style="color:{_COLOURS[i]};fill:{_COLOURS[i]}">{_DASH_SIGNS[_DASHES[i]]}</span> {name}'
        for i, name in enumerate(panel.channels)
        if name in present
    ]
    return {
        "xref": "paper",
        "x": 0,
        "xanchor": "left",
        "yref": "paper",
        "y": top,
        "yanchor": "bottom",
        "text": f"<b>{panel.title}</b>   {'   '.join(names)}",
        "showarrow": False,
    }


def _limit_line(limit_c: float, axis: str) -> dict[str, Any]:
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "yref": axis,
        "y0": limit_c,
        "y1": limit_c,
        "line": {"color": VERMILLION, "width": 1.5, "dash": "dash"},
    }


def _limit_word(limit_c: float, axis: str) -> dict[str, Any]:
    return {
        "xref": "paper",
        "x": 1,
        "xanchor": "right",
        "yref": axis,
        "y": limit_c,
        "yanchor": "bottom",
        "text": f"limit {limit_c:g} °C",
        "showarrow": False,
    }


def _layout(job: JobView, curves: CurvesView) -> dict[str, Any]:
    tags = list(numbered(job.tags))
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
        "uirevision": f"job {job.job}",
        "xaxis": {
            "anchor": "y",
            "title": {"text": "minutes since the start", "standoff": 4},
            "range": [curves.from_s / 60, max(curves.to_s, curves.from_s + 1) / 60],
            "showspikes": True,
            "spikemode": "across",
            "spikesnap": "cursor",
            "spikethickness": 1,
            "spikedash": "solid",
            "spikecolor": INK,
            "hoverformat": ".2f",
            "unifiedhovertitle": {"text": "%{x:.2f} min"},
            "zeroline": False,
        },
        "shapes": [
            {
                "type": "line",
                "xref": "x",
                "x0": tag.at_s / 60,
                "x1": tag.at_s / 60,
                "yref": "paper",
                "y0": 0,
                "y1": 1,
                "line": {"color": INK, "width": 1, "dash": "dot"},
            }
            for _, tag in tags
        ],
        "annotations": [_tag_word(group) for group in _close(tags, curves.to_s - curves.from_s)],
    }


def numbered(tags: Sequence[Tag]) -> list[tuple[int, Tag]]:
    """The tags in the order of time, numbered from 1, as the chart and the list beside it both call them."""
    return list(enumerate(sorted(tags, key=lambda t: t.at_s), start=1))


def _close(tags: Sequence[tuple[int, Tag]], shown_s: float) -> list[list[tuple[int, Tag]]]:
    # marks that would lie on each other share one label
    groups: list[list[tuple[int, Tag]]] = []
    for n, tag in tags:
        if groups and tag.at_s - groups[-1][0][1].at_s < 0.035 * shown_s:
            groups[-1].append((n, tag))
        else:
            groups.append([(n, tag)])
    return groups


def _tag_word(group: Sequence[tuple[int, Tag]]) -> dict[str, Any]:
    worst = max((tag.priority for _, tag in group), key=list(_TAG_SHAPES).index)
    first, last = group[0][0], group[-1][0]
    return {
        "xref": "x",
        "x": group[0][1].at_s / 60,
        "yref": "paper",
        "y": 1,
        "yshift": 18,
        "yanchor": "bottom",
        "text": f"{_TAG_SHAPES[worst]} {first}" + (f"–{last}" if last != first else ""),
        "showarrow": False,
        "hovertext": "<br>".join(f"{n}. {tag.text}" for n, tag in group),
    }
