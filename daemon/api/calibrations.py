"""The part of the control API that is about calibrations."""

from concurrent.futures import Future, TimeoutError

from fastapi import Depends, FastAPI, HTTPException

from daemon.api.calibration_models import CalibrationJudged, CalibrationOrder, CalibrationView
from daemon.api.guard import own_page
from daemon.api.waiting import ORDER_S
from daemon.calibration.judged import judge
from daemon.calibration.kept import Calibrations, view
from daemon.calibration.known import Calibration, today
from daemon.errors import Refused
from daemon.loop import Rack


def add_calibrations(app: FastAPI, rack: Rack, kept: Calibrations) -> None:
    """Add these routes to the app; none is async, for each waits for a disk, on a thread of the pool."""

    def now(order: CalibrationOrder) -> Calibration | None:
        rack.find(order.bay)
        return rack.calibrated.of(order.bay).get(order.channel)

    @app.get("/v1/calibrations")
    def listed(bay: str | None = None, channel: str | None = None) -> list[CalibrationView]:
        """The newest first, those that were superseded too."""
        return kept.history(bay, channel)

    @app.post("/v1/calibrations/check")
    def check(order: CalibrationOrder) -> CalibrationJudged:
        """What would come of it; nothing is kept."""
        return judge(order, now(order), today())

    @app.post("/v1/calibrations", dependencies=[Depends(own_page)])
    def calibrate(order: CalibrationOrder) -> CalibrationView:
        """Keep it and put it in force; 409 where it changes a reading by much and ``confirm`` is not set."""
        before = now(order)
        asks = judge(order, before, today()).asks
        if asks and not order.confirm:
            raise Refused(asks)
        put = False
        try:
            with kept.adding(order, before) as made:
                ordered = rack.calibrate(made)
                put = True
                _wait(ordered)
        except Exception:
            if put:  # it may be in force and is not kept; orders are done in turn, so this comes after
                rack.uncalibrate(order.bay, order.channel, before)
            raise
        return view(made, in_force=True)


def _wait(future: "Future[None]") -> None:
    try:
        future.result(ORDER_S)
    except TimeoutError:
        raise HTTPException(503, "the safety loop does not answer: pull the key lines by hand") from None
