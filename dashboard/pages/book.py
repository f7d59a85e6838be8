"""Booking in: a unit's set-up sheet as a card, and the units that were booked in. Filled by assets/sheet-page.js."""

import json
from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from daemon.api.booking_models import BookingView, DeviceType
from dashboard.pages.attributes import aria, data
from dashboard.words import instant


def page(
    bookings: Sequence[BookingView], devices: Sequence[DeviceType], chosen: BookingView | None = None
) -> Component:
    """The page with an empty sheet, or with that of the ``chosen`` booking."""
    sheet = chosen.model_dump_json(exclude={"booking", "booked_ns", "changed_ns", "jobs"}) if chosen else "{}"
    return html.Main(
        [
            html.H1(f"Booking {chosen.booking}: {chosen.unit}" if chosen else "Book in"),
            html.P(
                "What was fitted, set and measured before the soak. It is looked at as you type; a question is no "
                "refusal, and any of it may be filled in later.",
                className="lead",
            ),
            html.Div(
                id="sheet-editor",
                className="sheet-editor",
                **data(
                    sheet=sheet,
                    booking=str(chosen.booking) if chosen else "",
                    devices=json.dumps([device.model_dump() for device in devices]),
                ),
            ),
            html.Section(
                [html.H2("Booked in", id="booked-in"), _list(bookings)],
                className="booked-list",
                **aria(labelledby="booked-in"),
            ),
        ],
        className="page wide",
    )


def _list(bookings: Sequence[BookingView]) -> Component:
    if not bookings:
        return html.P("Nothing is booked in yet. Fill in a number and a unit above, and press “Book it in”.")
    return html.Ol([_card(booking) for booking in bookings], className="dockets")


def _card(booking: BookingView) -> Component:
    fitted = " ".join(part for part in (booking.fitted.type, _lot(booking.fitted.lot)) if part)
    facts = [part for part in (booking.kind, booking.serial and f"serial {booking.serial}", fitted) if part]
    soaks: list[Component | str] = ["No soak yet. Choose it on a bay's page to start one."]
    if booking.jobs:
        soaks = [html.A(f"job {job}", href=f"/job/{job}") for job in booking.jobs]
    return html.Li(
        [
            html.A([html.B(booking.number), html.Span(booking.unit)], href=f"/book/{booking.booking}"),
            html.P([html.Small(instant(booking.booked_ns)), html.Br(), ", ".join(facts)]),
            html.P(soaks, className="docket-soaks"),
        ]
    )


def _lot(lot: str) -> str:
    return lot if not lot or lot.casefold().startswith("lot") else f"lot {lot}"
