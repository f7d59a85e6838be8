"""The part of the control API that is about who is told of alerts."""

from fastapi import Depends, FastAPI

from daemon.api.guard import own_page
from daemon.api.tell_models import TellsView, TellTest, TellTried
from daemon.delivery.delivery import Delivery


def add_tell(app: FastAPI, delivery: Delivery) -> None:
    """Add these routes to the app."""

    @app.get("/v1/tell")
    def tell() -> TellsView:
        return delivery.view()

    # not async: it takes as long as the slowest target, on a thread of its own
    @app.post("/v1/tell/test", dependencies=[Depends(own_page)])
    def test(order: TellTest) -> list[TellTried]:
        return delivery.test(order.target)
