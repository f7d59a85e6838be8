"""A verdict as a word with a shape; colour comes third."""

from dash import html
from dash.development.base_component import Component


def badge(verdict: str | None) -> Component:
    """The verdict of a soak, or that it still runs. The shape is drawn by the style sheet's mask."""
    word = verdict or "soaking"
    return html.Span([html.I(className=f"shape shape-{word}"), word], className=f"badge badge-{word}")
