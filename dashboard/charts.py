"""The curves of one job as a plotly figure: charts stacked on one time axis, the plan as a band under them."""

from collections.abc import Mapping, Sequence
from typing import Any

from daemon.api.aligned import as_run, lasted_s
from daemon.api.models import Curve, CurvesView, JobView, Tag
from dashboard.paper import (
    COLOURS,
    DASHES,
    HATCHES,
    INK,
    Panel,
    domains,
    heading,
    heights,
    key_to,
    limit_line,
    limit_word,
    plain_layout,
    plan_bar,
    tall,
)
from dashboard.words import sentence, shown, unit_sign

#: a line of a heading
HEADING_PX = 16
#: as near to the shapes beside the list as letters come
#: a tenth of a millisecond: all digits of a division would be a quarter of what is sent
MINUTE_DIGITS = 6
_TAG_SHAPES = {"advisory": "●", "warning": "▲", "trip": "⬢"}
#: marks that are nearer than this part of the width share a label: on a phone a label takes so much
_LABEL_SHARE = 0.1

PANELS = (
    Panel("temperature, {Cel}", ("heatsink", "case-1", "case-2", "case-3", "case-4", "load", "ambient"), 0.32),
    Panel("drain current, A", ("drain-1", "drain-2", "drain-3", "drain-4"), 0.22),
    Panel("power, W", ("forward", "peak", "reflected"), 0.22),
    Panel("SWR", ("swr",), 0.1),
    Panel("supply, V", ("supply",), 0.14),
    Panel("bias, V", ("bias-1", "bias-2", "bias-3", "bias-4"), 0.12),
)


def figure(job: JobView, curves: CurvesView) -> dict[str, Any]:
    """The figure; times in minutes since the start of the soak. Charts without any curve are left out."""
    by_name = {c.channel: c for c in curves.curves}
    panels = [p for p in PANELS if any(name in by_name for name in p.channels)]
    floors = domains(panels)
    run = as_run(job.plan, job.waits, lasted_s(job))
    traces: list[dict[str, Any]] = [plan_bar(run, drive, curves.to_s - curves.from_s) for drive in HATCHES]
    layout = _layout(job, curves)
    for at, (panel, domain) in enumerate(zip(panels, floors, strict=True), start=2):
        layout[f"yaxis{at}"] = {
            "domain": domain,
            "fixedrange": True,
            "zeroline": False,
            # no closer than they can be read apart
            "nticks": 5 if panel.share > 0.2 else 3,
            "autorangeoptions": {"include": _always_shown(panel, by_name)},
        }
        present = [name for name in panel.channels if name in by_name]
        if at == 2 and tall(present):
            _raise_marks(layout)
        layout["annotations"].append(heading(panel.title.format(Cel=unit_sign("Cel")), keys(panel, present), domain[1]))
        traces += [_line(by_name[name], i, f"y{at}") for i, name in enumerate(panel.channels) if name in by_name]
        if panel.channels[0] == "heatsink" and (limit_c := job.limits.get("heatsink_c")) is not None:
            layout["shapes"].append(limit_line(shown(limit_c, "Cel"), f"y{at}"))
            layout["annotations"].append(limit_word(shown(limit_c, "Cel"), f"y{at}"))
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
    return [] if first is None or curve is None else [shown(first + d, curve.unit) for d in (-spread, spread)]


def _line(curve: Curve, at: int, axis: str) -> dict[str, Any]:
    sign = unit_sign(curve.unit)
    return {
        "type": "scatter",
        "mode": "lines",
        "name": curve.channel,
        "x": [round(s / 60, MINUTE_DIGITS) for s in curve.at_s],
        "y": heights(curve),
        "xaxis": "x",
        "yaxis": axis,
        "connectgaps": False,
        "line": {"color": COLOURS[at], "dash": DASHES[at], "width": 1.6},
        "hovertemplate": f"%{{y:.3~f}} {sign}",
    }


def _raise_marks(layout: dict[str, Any]) -> None:
    # the marks of alerts stand over the heading of the topmost chart, however many lines it has
    layout["margin"] |= {"t": layout["margin"]["t"] + HEADING_PX}
    for mark in layout["annotations"]:
        mark["yshift"] += HEADING_PX


def keys(panel: Panel, present: Sequence[str]) -> list[str]:
    """The keys to a chart's lines."""
    return [key_to(i, name) for i, name in enumerate(panel.channels) if name in present]


def _layout(job: JobView, curves: CurvesView) -> dict[str, Any]:
    tags = list(numbered(job.tags))
    layout = plain_layout(curves.from_s, curves.to_s, "since the start")
    layout["uirevision"] = f"job {job.job}"
    layout["shapes"] = [_tag_line(_at_s(tag, curves)) for _, tag in tags]
    groups = _close(tags, curves.to_s - curves.from_s)
    layout["annotations"] = [_tag_word(group, curves) for group in groups]
    return layout


def _at_s(tag: Tag, curves: CurvesView) -> float:
    # what ended the soak came with its last reading, or a moment later: its mark must not lie beyond the paper
    beyond_s = tag.at_s - curves.to_s
    return curves.to_s if 0 < beyond_s < 0.01 * (curves.to_s - curves.from_s) + 1 else tag.at_s


def _tag_line(at_s: float) -> dict[str, Any]:
    at_min = at_s / 60
    line = {"color": INK, "width": 1, "dash": "dot"}
    return {"type": "line", "xref": "x", "x0": at_min, "x1": at_min, "yref": "paper", "y0": 0, "y1": 1, "line": line}


def numbered(tags: Sequence[Tag]) -> list[tuple[int, Tag]]:
    """The tags in the order of time, numbered from 1, as the chart and the list beside it both call them."""
    return list(enumerate(sorted(tags, key=lambda t: t.at_s), start=1))


def _close(tags: Sequence[tuple[int, Tag]], shown_s: float) -> list[list[tuple[int, Tag]]]:
    # marks that would lie on each other share one label
    groups: list[list[tuple[int, Tag]]] = []
    for n, tag in tags:
        if groups and tag.at_s - groups[-1][0][1].at_s < _LABEL_SHARE * shown_s:
            groups[-1].append((n, tag))
        else:
            groups.append([(n, tag)])
    return groups


def _tag_word(group: Sequence[tuple[int, Tag]], curves: CurvesView) -> dict[str, Any]:
    at_s = _at_s(group[0][1], curves)
    worst = max((tag.priority for _, tag in group), key=list(_TAG_SHAPES).index)
    first, last = group[0][0], group[-1][0]
    near_end = (at_s - curves.from_s) > 0.96 * (curves.to_s - curves.from_s)
    return {
        "xref": "x",
        "x": at_s / 60,
        "yref": "paper",
        "y": 1,
        "yshift": 20,
        "xanchor": "right" if near_end else "center",
        "yanchor": "bottom",
        "text": f"{_TAG_SHAPES[worst]} {first}" + (f"–{last}" if last != first else ""),
        "showarrow": False,
        # a card, as on the rack's strips; its colours come from the style sheet
        "bgcolor": "#fff",
        "bordercolor": INK,
        "borderpad": 2,
        "hovertext": "<br>".join(f"{n}. {sentence(tag.text)}" for n, tag in group),
    }
