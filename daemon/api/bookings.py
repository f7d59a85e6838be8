"""The part of the control API that is about booking in: units, their sheets, the library of device types."""

from typing import Annotated, Any

from fastapi import Body, Depends, FastAPI, Query, Response

from daemon.api.booking_models import (
    Batch,
    BatchBooked,
    Booked,
    BookedRow,
    Booking,
    BookingView,
    DeviceType,
    RowProblem,
    SheetJudged,
)
from daemon.api.guard import own_page
from daemon.api.models import Said, SoakOrder
from daemon.booking.batch import read_csv
from daemon.booking.checks import judge
from daemon.booking.kept import Bookings
from daemon.booking.typed import judge_typed
from daemon.errors import Refused
from daemon.plan import Plan


def add_bookings(app: FastAPI, bookings: Bookings) -> None:
    """Add these routes to the app."""
    guarded = [Depends(own_page)]

    @app.get("/v1/bookings", response_model=list[BookingView])
    def listed(
        find: Annotated[str, Query(max_length=80)] = "", most: Annotated[int, Query(ge=1, le=500)] = 200
    ) -> Response:
        """The newest first, those with ``find`` in number, unit or serial; without their customers."""
        views = bookings.find(find, most)
        # one by one: written whole, a long list would hold the interpreter's lock, which the safety loop needs too
        content = b"[" + b",".join(view.model_dump_json().encode() for view in views) + b"]"
        return Response(content, media_type="application/json")

    @app.post("/v1/bookings/check")
    def check(sheet: Annotated[dict[str, Any], Body()]) -> SheetJudged:
        """What there is to say of a booking as far as it is typed; nothing is kept."""
        return judge_typed(sheet, lambda typed: bookings.with_device_data([typed])[0])

    @app.post("/v1/bookings/batch", dependencies=guarded)
    def batch(order: Batch) -> BatchBooked:
        return book_batch(bookings, order.csv)

    @app.get("/v1/bookings/{booking}")
    def one(booking: int) -> BookingView:
        return bookings.one(booking)

    @app.post("/v1/bookings", dependencies=guarded)
    def book(order: Booking) -> Booked:
        (filled,) = bookings.with_device_data([order])
        (answer,) = bookings.add([filled])
        if isinstance(answer, Refused):
            raise answer
        return Booked(booking=answer, judged=judge(filled))

    @app.put("/v1/bookings/{booking}", dependencies=guarded)
    def change(booking: int, order: Booking) -> Booked:
        """Put a newer sheet in its place; a customer that is left out stays as it is."""
        (filled,) = bookings.with_device_data([order])
        bookings.change(booking, filled)
        return Booked(booking=booking, judged=judge(filled))

    @app.delete("/v1/bookings/{booking}/customer", dependencies=guarded)
    def erase(booking: int) -> Said:
        bookings.erase_customer(booking)
        return Said(done=f"the customer of booking {booking} is erased")

    _add_devices(app, bookings)


def _add_devices(app: FastAPI, bookings: Bookings) -> None:
    guarded = [Depends(own_page)]

    @app.get("/v1/devices")
    def devices() -> list[DeviceType]:
        return bookings.device_types()

    @app.put("/v1/devices", dependencies=guarded)
    def put(device: DeviceType) -> Said:
        bookings.keep_type(device)
        return Said(done=f"{device.name} is in the library")

    @app.delete("/v1/devices", dependencies=guarded)
    def remove(name: str) -> Said:
        bookings.remove_type(name)
        return Said(done=f"{name} is out of the library")


def book_batch(bookings: Bookings, text: str) -> BatchBooked:
    """Keep the good rows of a CSV text, name the bad ones; raises BadFile when none of it can be read."""
    rows, bad = read_csv(text)
    filled = bookings.with_device_data([row.booking for row in rows])
    answers = bookings.add(filled)
    kept: list[BookedRow] = []
    for row, booking, answer in zip(rows, filled, answers, strict=True):
        if isinstance(answer, Refused):
            bad.append(RowProblem(row=row.row, field="number", what=answer.why))
            continue
        questions = judge(booking).questions
        kept.append(
            BookedRow(row=row.row, booking=answer, number=booking.number, unit=booking.unit, questions=questions)
        )
    return BatchBooked(kept=kept, bad=sorted(bad, key=lambda problem: problem.row))


def as_booked(bookings: Bookings, order: SoakOrder) -> SoakOrder:
    """A soak order with number and unit of the booking that it names; raises NoSuch, Refused where they differ."""
    if order.booking is None:
        return order
    booked = bookings.one(order.booking)
    for name in ("number", "unit"):
        asked, known = getattr(order, name), getattr(booked, name)
        if asked and asked != known:
            raise Refused(f"booking {order.booking} has {name} {known!r}, and not {asked!r}: which unit is in the bay?")
    return order.model_copy(update={"number": booked.number, "unit": booked.unit})


def with_heat_data(bookings: Bookings, booking: int, plan: Plan) -> Plan:
    """The plan with R_theta from heatsink to junction of what was fitted, where it does not give one itself.

    The sum of both parts that the device data has (JESD51); one alone gives no junction estimate. Raises NoSuch.
    """
    fitted = bookings.one(booking).fitted
    if plan.limits.junction_k_per_w or fitted.rth_jc_k_w is None or fitted.rth_cs_k_w is None:
        return plan
    limits = plan.limits.model_copy(update={"junction_k_per_w": fitted.rth_jc_k_w + fitted.rth_cs_k_w})
    return plan.model_copy(update={"limits": limits})
