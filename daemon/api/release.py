"""The part of the control API that switches a radio's supply on again after it was cut."""

from fastapi import Depends, FastAPI

from daemon.api.alert_models import ReasonOrder
from daemon.api.guard import own_page
from daemon.api.models import Said
from daemon.api.waiting import wait
from daemon.loop import Rack


def add_release(app: FastAPI, rack: Rack) -> None:
    """Add the route."""

    @app.post("/v1/bays/{bay}/release", dependencies=[Depends(own_page)])
    async def release(bay: str, order: ReasonOrder) -> Said:
        await wait(rack.release(bay, order.person, order.note))
        return Said(done="the supply is on again", bays=[bay])
