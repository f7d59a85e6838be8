"""Which part of a soak the curves show, in seconds since its start."""

from collections.abc import Mapping
from typing import Any, NamedTuple

from dash import Dash, Input, Output

#: closer than this there is nothing more to see: nodes send a few packs a second
LEAST_S = 10.0

#: plotly tells its every change of size too, and a callback that is asked twice answers only the second time: a press
#: of a button would get lost under it
_ZOOMS = """(relayout) => relayout && Object.keys(relayout).some((key) => key.startsWith("xaxis"))
  ? relayout : window.dash_clientside.no_update"""


class Span(NamedTuple):
    """From one moment to another."""

    from_s: float
    to_s: float


def tell_zooms(app: Dash, graph: str, store: str) -> None:
    """Have ``store`` told what a drag on ``graph`` does to its time axis."""
    scripted: Any = app.clientside_callback  # it knows no types
    scripted(_ZOOMS, Output(store, "data"), Input(graph, "relayoutData"), prevent_initial_call=True)


def zoomed(relayout: Mapping[str, Any] | None, least_s: float = 0.0) -> Span | bool | None:
    """What a drag on the charts asks for: a span from ``least_s`` on, None for the whole soak, False for neither."""
    if not relayout:
        return False
    if relayout.get("xaxis.autorange"):
        return None
    low, high = relayout.get("xaxis.range[0]"), relayout.get("xaxis.range[1]")
    if low is None or high is None:
        low, high = relayout.get("xaxis.range") or (None, None)
    if low is None or high is None:
        return False
    return Span(max(least_s, float(low) * 60), float(high) * 60)


def moved(span: Span | None, how: str, whole_s: float) -> Span | None:
    """The span after a button was pressed; None is the whole soak of ``whole_s`` seconds."""
    if how == "whole":
        return None
    low, high = span or Span(0.0, whole_s)
    wide, middle = high - low, (low + high) / 2
    if how in ("closer", "wider"):
        wide = max(LEAST_S, wide / 2) if how == "closer" else wide * 2
        low, high = middle - wide / 2, middle + wide / 2
    else:
        step = wide / 2 if how == "later" else -wide / 2
        low, high = low + step, high + step
    if high - low >= whole_s:
        return None
    if low < 0:
        low, high = 0.0, high - low
    if high > whole_s:
        low, high = low - (high - whole_s), whole_s
    return Span(max(0.0, low), high)
