"""HTML attributes that are no Python names."""

from typing import Any


def data(**values: str) -> dict[str, Any]:
    """``data-*`` attributes, by which the page's own scripts find their places."""
    return {f"data-{name.replace('_', '-')}": value for name, value in values.items()}


def aria(**values: str) -> dict[str, Any]:
    """``aria-*`` attributes."""
    return {f"aria-{name}": value for name, value in values.items()}
