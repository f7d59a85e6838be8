"""The part of the control API that is about calibrations."""

from concurrent.futures import Future, TimeoutError
from math import isfinite

from fastapi import Depends, FastAPI, HTTPException

from daemon.api.calibration_models import CalibrationJudged, CalibrationKind, CalibrationOrder, CalibrationView
from daemon.api.guard import own_page
from daemon.api.waiting import ORDER_S
from daemon.bay import Bay
from daemon.calibration.judged import judge
from daemon.calibration.kept import Calibrations, view
from daemon.calibration.known import Calibration, today
from daemon.errors import Refused
from daemon.loop import Rack
from sensors.conversion import Convert
from sensors.types import DETECTED, INDEX


def add_calibrations(app: FastAPI, rack: Rack, kept: Calibrations) -> None:
    """Add these routes to the app; none is async, for each waits for a disk, on a thread of the pool."""

    def now(order: CalibrationOrder) -> tuple[Calibration | None, Convert | None]:
        _must_read_volts(rack.find(order.bay), order)
        calibrated = rack.calibrated
        return calibrated.of(order.bay).get(order.channel), calibrated.base(order.bay, order.channel)

    @app.get("/v1/calibrations")
    def listed(bay: str | None = None, channel: str | None = None) -> list[CalibrationView]:
        """The newest first, those that were superseded too."""
        return kept.history(bay, channel)

    @app.post("/v1/calibrations/check")
    def check(order: CalibrationOrder) -> CalibrationJudged:
        """What would come of it; nothing is kept."""
        before, base = now(order)
        return judge(order, before, today(), base)

    @app.post("/v1/calibrations", dependencies=[Depends(own_page)])
    def calibrate(order: CalibrationOrder) -> CalibrationView:
        """Keep it and put it in force; 409 where it changes a reading by much and ``confirm`` is not set."""
        before, base = now(order)
        asks = judge(order, before, today(), base).asks
        if asks and not order.confirm:
            raise Refused(asks)
        put = False
        try:
            with kept.adding(order, before, base) as made:
                ordered = rack.calibrate(made)
                put = True
                _wait(ordered)
        except Exception:
            if put:  # it may be in force and is not kept; orders are done in turn, so this comes after
                rack.uncalibrate(order.bay, order.channel, before)
            raise
        return view(made, in_force=True)


def _must_read_volts(bay: Bay, order: CalibrationOrder) -> None:
    if order.kind is not CalibrationKind.TABLE or bay.last is None:
        return
    value, volts = bay.last.values[INDEX[order.channel]], bay.last.volts[DETECTED.index(order.channel)]
    if isfinite(value) and not isfinite(volts):
        raise Refused(
            f"the node of {bay.name} sends {order.channel} in W, and a table is for a detector's volts: draw a line, "
            'or let the node send "u":"V"'
        )


def _wait(future: "Future[None]") -> None:
    try:
        future.result(ORDER_S)
    except TimeoutError:
        raise HTTPException(503, "the safety loop does not answer: pull the key lines by hand") from None
