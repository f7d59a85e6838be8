"""Who may give orders: not the page of another site."""

from urllib.parse import urlsplit

from fastapi import HTTPException, Request


def own_page(request: Request) -> None:
    """Refuse an order that a browser sends for another site's page; unkeying is open to all, as it harms nobody."""
    origin = request.headers.get("origin")
    if origin is not None and urlsplit(origin).netloc != request.headers.get("host"):
        raise HTTPException(403, f"orders are not taken from pages of {origin}")
