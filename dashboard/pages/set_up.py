"""What was fitted, set and measured before a soak, in brief: beside its curves."""

from dash import html
from dash.development.base_component import Component

from daemon.api.booking_models import Booking, BookingView, Power
from dashboard.words import number

_MODES = (("am_carrier_w", "AM carrier"), ("am_pep_w", "AM PEP"), ("fm_w", "FM"), ("ssb_pep_w", "SSB PEP"))


def set_up(booking: BookingView) -> Component:
    """The set-up sheet; its customer is no matter of a page that lies open on a bench."""
    return html.Section(
        [
            html.H2("Set-up"),
            html.Dl([html.Div([html.Dt(k), html.Dd(v)]) for k, v in _fitted(booking)], className="facts"),
            *_table("Device", ("bias", "idle"), _devices(booking)),
            *_table("Power", ("before", "after"), _powers(booking.before, booking.after)),
            html.P(html.A("The whole sheet", href=f"/book/{booking.booking}", className="way")),
        ],
        className="set-up",
    )


def _fitted(booking: Booking) -> list[tuple[str, str]]:
    fitted = booking.fitted
    told = (
        ("kind", booking.kind),
        ("serial", booking.serial),
        ("devices", ", ".join(filter(None, (fitted.type, fitted.lot)))),
        ("bias set by", fitted.bias_method),
        ("meter before", booking.before.meter),
        ("meter after", booking.after.meter),
    )
    return [(name, word) for name, word in told if word]


def _devices(booking: Booking) -> list[tuple[str, str, str]]:
    return [
        (str(i), number(device.bias_v, "V"), number(device.idle_a, "A"))
        for i, device in enumerate(booking.device, start=1)
        if device.bias_v is not None or device.idle_a is not None
    ]


def _powers(before: Power, after: Power) -> list[tuple[str, str, str]]:
    rows = [(word, getattr(before, name), getattr(after, name)) for name, word in _MODES]
    return [(word, number(a, "W"), number(b, "W")) for word, a, b in rows if a is not None or b is not None]


def _table(what: str, columns: tuple[str, str], rows: list[tuple[str, str, str]]) -> list[Component]:
    if not rows:
        return []
    head = html.Thead(html.Tr([html.Th(word, scope="col") for word in (what, *columns)]))
    body = html.Tbody([html.Tr([html.Th(first, scope="row"), *map(html.Td, rest)]) for first, *rest in rows])
    return [html.Table([head, body], className="figures-table")]
