"""Which part of a soak the curves show: chosen in the page, by assets/span.js."""

from collections.abc import Sequence
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State


def choose_spans(app: Dash, graph: str, buttons: Sequence[str], span: str, whole: str) -> None:
    """Have the store ``span`` told which part a drag on ``graph``, or one of the ``buttons``, asks for: two moments in
    seconds, null for all of ``whole``, a store that has the first and the last."""
    scripted: Any = app.clientside_callback  # it knows no types
    scripted(
        ClientsideFunction("keysoak", "chooseSpan"),
        Output(span, "data"),
        Input(graph, "relayoutData"),
        *(Input(button, "n_clicks") for button in buttons),
        State(span, "data"),
        State(whole, "data"),
        prevent_initial_call=True,
    )
