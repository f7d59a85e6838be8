"""Two to six soaks over each other as a plotly figure: one channel a chart, minutes from key-on, and behind them the
band of earlier good units of the same kind."""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from daemon.api.models import BandView, CurvesView, JobView
from dashboard.paper import (
    COLOURS,
    DASHES,
    HATCHES,
    INK,
    Panel,
    domains,
    heading,
    heights,
    limit_line,
    limit_word,
    plain_layout,
    plan_bar,
)
from dashboard.words import shown, unit_sign

#: channel -> its title, its share of the height, and values that are always shown: noise alone must not fill a chart
CHARTS: Mapping[str, tuple[str, float, list[float]]] = {
    "heatsink": ("heatsink, {Cel}", 0.44, []),
    "drain-1": ("drain 1, A", 0.16, [0.0, 1.0]),
    "drain-2": ("drain 2, A", 0.16, [0.0, 1.0]),
    "forward": ("forward power, W", 0.16, [0.0, 5.0]),
    "swr": ("SWR", 0.1, [1.0, 1.5]),
    "supply": ("supply, V", 0.1, []),
}
_BAND_FILL = "rgba(128, 118, 96, 0.24)"


class Soak(NamedTuple):
    """One of the soaks; ``key_on_s`` is where its time axis begins."""

    job: JobView
    curves: CurvesView
    key_on_s: float


def figure(soaks: Sequence[Soak], bands: Mapping[str, BandView], from_s: float, to_s: float) -> dict[str, Any]:
    """The figure between two moments, seconds from key-on."""
    present = {curve.channel for soak in soaks for curve in soak.curves.curves}
    panels = [Panel(title, (name,), share) for name, (title, share, _) in CHARTS.items() if name in present]
    layout = plain_layout(from_s, to_s, "from key-on")
    layout["uirevision"] = "side by side"
    first = soaks[0]
    traces = [plan_bar(first.job.plan, drive, to_s - from_s, first.key_on_s) for drive in HATCHES]
    for at, (panel, domain) in enumerate(zip(panels, domains(panels), strict=True), start=2):
        channel, axis = panel.channels[0], f"y{at}"
        include = {"include": CHARTS[channel][2]}
        axes = {
            "domain": domain,
            "fixedrange": True,
            "zeroline": False,
            "nticks": 5 if panel.share > 0.2 else 3,
            "autorangeoptions": include,
        }
        layout[f"yaxis{at}"] = axes
        layout["annotations"].append(heading(panel.title.format(Cel=unit_sign("Cel")), (), domain[1]))
        if (band := bands.get(channel)) is not None and band.at_s:
            traces += _band(band, axis)
        for i, soak in enumerate(soaks):
            traces += _line(soak, channel, axis, i)
        limits = {limit for soak in soaks if (limit := soak.job.limits.get("heatsink_c"))}
        if channel == "heatsink" and len(limits) == 1:
            limit = shown(limits.pop(), "Cel")
            layout["shapes"].append(limit_line(limit, axis))
            layout["annotations"].append(limit_word(limit, axis))
    layout["shapes"].append(_key_on())
    return {"data": traces, "layout": layout}


def _line(soak: Soak, channel: str, axis: str, style: int) -> list[dict[str, Any]]:
    curve = next((c for c in soak.curves.curves if c.channel == channel), None)
    if curve is None:
        return []
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "name": f"job {soak.job.job}",
            "x": [round((s - soak.key_on_s) / 60, 4) for s in curve.at_s],
            "y": heights(curve),
            "xaxis": "x",
            "yaxis": axis,
            "line": {"color": COLOURS[style], "dash": DASHES[style], "width": 1.7},
            "hovertemplate": f"%{{y:.3~f}} {unit_sign(curve.unit)}",
        }
    ]


def _band(band: BandView, axis: str) -> list[dict[str, Any]]:
    x = [s / 60 for s in band.at_s]
    low, mid, high = ([shown(v, band.unit) for v in values] for values in (band.low, band.mid, band.high))
    plain = {"type": "scatter", "mode": "lines", "x": x, "xaxis": "x", "yaxis": axis, "hoverinfo": "skip"}
    return [
        plain | {"y": low, "name": "10th percentile", "line": {"width": 0}},
        plain
        | {"y": high, "name": "90th percentile", "line": {"width": 0}, "fill": "tonexty", "fillcolor": _BAND_FILL},
        plain | {"y": mid, "name": "median", "line": {"color": INK, "width": 1, "dash": "dot"}},
    ]


def _key_on() -> dict[str, Any]:
    line = {"color": INK, "width": 1.5}
    return {"type": "line", "xref": "x", "x0": 0, "x1": 0, "yref": "paper", "y0": 0, "y1": 1, "line": line}
