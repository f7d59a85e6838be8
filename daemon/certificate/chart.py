"""The soak as a strip-chart in SVG: temperatures, currents, power and supply on one time axis, the plan at its foot.

Lines differ by dashes as well as by colour (Okabe & Ito 2008). No text of a person's is in it.
"""

import io
import threading
from collections.abc import Sequence
from typing import Any, NamedTuple

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from daemon.api.aligned import WAITED
from daemon.api.models import Curve, CurvesView, PlanView
from sensors.types import Drive

#: points a channel: twice as many as a printer's dots would tell apart on the strip
POINTS = 1200
#: of the strip on paper, mm; the last part is for the names of the lines
WIDTH_MM, NAMES_MM, PANEL_MM, PLAN_MM = 178.0, 27.0, 25.0, 8.0
_MM = 1 / 25.4

INK, GRID, LIMIT = "#1a1a1a", "#cfd8cf", "#000000"
_SOLID, _DASH, _DOT, _DASHDOT, _LONG = "-", (0, (4, 1.6)), (0, (1, 1.4)), (0, (5, 1.5, 1, 1.5)), (0, (8, 2))
_LABEL = (-0.072, 0.5)
_Dash = str | tuple[int, tuple[float, ...]]
_FOUR: tuple[tuple[str, _Dash], ...] = (
    ("#0072B2", _SOLID),
    ("#D55E00", _DASH),
    ("#009E73", _DASHDOT),
    ("#CC79A7", _DOT),
)


class _Trace(NamedTuple):
    channel: str
    colour: str
    dash: _Dash


class _Panel(NamedTuple):
    name: str
    unit: str
    traces: tuple[_Trace, ...]
    height: float = 1.0


PANELS = (
    _Panel(
        "temperature",
        "°C",
        (
            _Trace("heatsink", "#D55E00", _SOLID),
            *(_Trace(f"case-{i}", colour, _DASH) for i, colour in enumerate(("#E69F00", "#CC79A7", "#56B4E9", INK), 1)),
            _Trace("load", "#0072B2", _DASHDOT),
            _Trace("ambient", "#009E73", _DOT),
        ),
        1.5,
    ),
    _Panel("drain current", "A", tuple(_Trace(f"drain-{i}", *_FOUR[i - 1]) for i in (1, 2, 3, 4))),
    _Panel(
        "power",
        "W",
        (
            _Trace("forward", "#0072B2", _SOLID),
            _Trace("peak", "#E69F00", _DASH),
            _Trace("reflected", "#D55E00", _DOT),
        ),
    ),
    _Panel("supply", "V", (_Trace("supply", "#009E73", _SOLID),), 0.7),
)
_HATCHES: dict[str, str] = {
    Drive.OFF: "",
    Drive.IDLE: "....",
    Drive.CARRIER: "/////",
    Drive.TWO_TONE: "xxxx",
    Drive.MODULATED: "\\\\\\",
    WAITED: "---",
}
_STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 6.5,
    "axes.edgecolor": INK,
    "axes.linewidth": 0.5,
    "axes.labelsize": 6.5,
    "axes.grid": True,
    "grid.color": GRID,
    "grid.linewidth": 0.4,
    "xtick.major.width": 0.4,
    "ytick.major.width": 0.4,
    "xtick.major.size": 2.0,
    "ytick.major.size": 2.0,
    "hatch.linewidth": 0.4,
    "path.simplify": True,
    "path.simplify_threshold": 0.1,
    "svg.fonttype": "path",  # the same on paper and in a browser, whatever fonts there are
    "svg.hashsalt": "keysoak",
}
#: matplotlib keeps its settings for the whole process
_drawing = threading.Lock()


class Mark(NamedTuple):
    """Where an alert is hung: its number in the list, and whether it unkeyed the bay."""

    number: int
    at_s: float
    trip: bool


def draw(curves: CurvesView, plan: PlanView, heatsink_limit_c: float | None, marks: Sequence[Mark] = ()) -> str:
    """The strip-chart of a soak, an SVG document; without readings the plan alone."""
    by_name = {curve.channel: curve for curve in curves.curves}
    panels = [p for p in PANELS if any(t.channel in by_name for t in p.traces)]
    end_s = max([plan.total_s, curves.to_s, 1.0])
    per, unit = (3600.0, "h") if end_s > 3 * 3600 else (60.0, "min")
    heights = [*(p.height * PANEL_MM for p in panels), PLAN_MM]
    gap_mm, top_mm, foot_mm, left_mm = 2.5, 5.0, 8.5, 14.0
    tall_mm = sum(heights) + gap_mm * len(panels) + top_mm + foot_mm
    with _drawing, mpl.rc_context(_STYLE):
        figure = Figure(figsize=(WIDTH_MM * _MM, tall_mm * _MM))
        at_mm = tall_mm - top_mm
        axes: list[Axes] = []
        for height in heights:
            at_mm -= height
            width = (WIDTH_MM - left_mm - NAMES_MM) / WIDTH_MM
            place = (left_mm / WIDTH_MM, at_mm / tall_mm, width, height / tall_mm)
            axes.append(figure.add_axes(place))
            at_mm -= gap_mm
        for panel, ax in zip(panels, axes, strict=False):
            _lines(ax, panel, by_name, per, heatsink_limit_c)
        _plan(axes[-1], plan, per)
        for ax in axes:
            ax.set_xlim(0, end_s / per)
            ax.xaxis.set_major_locator(MaxNLocator(12, steps=[1, 2, 3, 5, 6, 10]))
            ax.tick_params(labelbottom=ax is axes[-1])
        axes[-1].set_xlabel(f"{unit} from the start", labelpad=1.5)
        _hang(axes[0], marks, end_s, per)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Title": "Strip-chart of the soak"})
    text = out.getvalue()
    return text[text.index("<svg") :]


def _lines(ax: Axes, panel: _Panel, by_name: dict[str, Curve], per: float, limit_c: float | None) -> None:
    names: list[Line2D] = []
    for trace in panel.traces:
        curve = by_name.get(trace.channel)
        if curve is None:
            continue
        values = np.array([np.nan if v is None else v for v in curve.value], np.float64)
        at = np.array(curve.at_s, np.float64) / per
        names += ax.plot(at, values, color=trace.colour, linestyle=trace.dash, linewidth=0.8, label=trace.channel)
    if panel.name == "temperature" and limit_c is not None:
        names += [ax.axhline(limit_c, color=LIMIT, linestyle=_LONG, linewidth=0.7, label=f"limit {limit_c:g} °C")]
    low, high = ax.get_ylim()
    if panel.name in ("drain current", "power"):
        ax.set_ylim(min(0.0, low), high)
    elif high - low < 0.5:
        middle = (low + high) / 2  # a steady supply is a steady line, not a mountain of noise
        ax.set_ylim(middle - 0.25, middle + 0.25)
    ax.yaxis.set_major_locator(MaxNLocator(4 if panel.height <= 1 else 6))
    ax.set_ylabel(f"{panel.name}, {panel.unit}")
    ax.yaxis.set_label_coords(*_LABEL)
    _name(ax, names)


def _name(ax: Axes, names: Sequence[Line2D | Patch], *, small: bool = False) -> None:
    ax.legend(
        handles=list(names),
        loc="upper left",
        bbox_to_anchor=(1.03 if small else 1.01, 1.0),
        frameon=False,
        borderaxespad=0,
        borderpad=0,
        handlelength=1.8 if small else 3.2,
        handletextpad=0.5,
        labelspacing=0.2 if small else 0.35,
        fontsize=5.6 if small else 6.2,
    )


def _plan(ax: Axes, plan: PlanView, per: float) -> None:
    shown: dict[str, Patch] = {}
    for phase in plan.phases:
        hatch = _HATCHES[phase.drive]
        style: dict[str, Any] = {"facecolor": "white", "edgecolor": INK, "hatch": hatch, "linewidth": 0.5}
        # as high as the part of the time that is keyed: cycles would be too fine to see in a day's soak
        keyed = 1.0 if phase.on_s is None or phase.off_s is None else phase.on_s / (phase.on_s + phase.off_s)
        span = (phase.start_s / per, (phase.end_s - phase.start_s) / per)
        ax.broken_barh([span], (0, keyed), **style)
        shown.setdefault(phase.drive, Patch(label=phase.drive, **style))
    ax.set_ylim(0, 1)
    ax.set_yticks([])
    ax.grid(visible=False)
    ax.set_ylabel("plan")
    ax.yaxis.set_label_coords(*_LABEL)
    _name(ax, list(shown.values()), small=True)


def _hang(ax: Axes, marks: Sequence[Mark], end_s: float, per: float) -> None:
    groups: list[list[Mark]] = []
    apart_s = (0.06 if len(marks) <= 6 else 0.1) * end_s  # nearer, their words would lie on each other
    for mark in sorted(marks, key=lambda m: m.at_s):
        if groups and mark.at_s - groups[-1][0].at_s < apart_s:
            groups[-1].append(mark)
        else:
            groups.append([mark])
    for group in groups:
        trip = any(mark.trip for mark in group)
        first, last = group[0].number, group[-1].number
        word = f"{'■' if trip else '▲'} {first}" + (f"–{last}" if last != first else "")
        x = group[0].at_s / per
        for mark in group:
            ax.axvline(mark.at_s / per, color=INK, linewidth=0.5, linestyle=_SOLID if mark.trip else _DOT)
        # in the middle of its line but at the paper's ends
        side = "left" if x < 0.04 * end_s / per else "right" if x > 0.96 * end_s / per else "center"
        ax.annotate(word, (x, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 2), textcoords="offset points",
                    ha=side, va="bottom", fontsize=6.2)  # fmt: skip
