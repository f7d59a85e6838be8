"""The part of the control API that compares units of one kind and lot; it reads what was kept."""

from collections.abc import Callable
from functools import cache

from fastapi import FastAPI

from daemon.api.lot_models import LotView
from daemon.booking.kept import Bookings
from daemon.lots.gather import lots
from daemon.store.reader import Reader

#: soaks that are looked at: the newest; a workshop that has more has lots that nobody buys any more
MOST_JOBS = 2000


def add_lots(app: FastAPI, reader: Callable[[], Reader], bookings: Callable[[], Bookings]) -> None:
    """Add this route to the app."""
    kept = cache(bookings)

    @app.get("/v1/lots")
    def all_lots() -> list[LotView]:
        """Bands of the good units by kind, device type and lot, who stands outside, and what drifts."""
        booked = {view.booking: view for view in kept().find(most=MOST_JOBS)}
        return lots(reader().jobs(MOST_JOBS), booked)
