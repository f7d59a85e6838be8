"""The part of the control API that is about alerts: the list, the rate, and what people do with them."""

import math
import time
from collections.abc import Callable, Sequence
from typing import Annotated

from fastapi import Depends, FastAPI, Query, Response

from alerts.folding import RANK
from alerts.life import ACTIVE, HIDDEN, UNSEEN, Change, State
from daemon import alertorders
from daemon.alert import MOST_HISTORY, Alert
from daemon.alertbook import AlertBook
from daemon.alertrate import PART_NS, PARTS_A_DAY, rate
from daemon.api.alert_models import AlertChangeView, AlertRate, AlertView, NoteOrder, ReasonOrder, ShelveOrder
from daemon.api.guard import own_page
from daemon.api.models import Said
from daemon.api.waiting import wait
from daemon.errors import NoSuch
from daemon.loop import Rack
from daemon.store import Store
from daemon.store.items import AlertKept

#: the newest changes of each alert that the list has; all of them come with the alert itself
LISTED = 10


def add_alerts(app: FastAPI, rack: Rack, book: AlertBook, store: Store) -> None:
    """Add these routes to the app."""

    @app.get("/v1/alerts", response_model=list[AlertView])
    def alerts(closed: Annotated[int, Query(ge=0, le=200)] = 0) -> Response:
        """What is open, worst and newest first; after it the last ``closed`` that are normal again."""
        listed = open_alerts(book)
        if closed:
            kept = store.alerts.closed(closed)
            changes = store.alerts.changes([one.id for one in kept])
            listed += [_view(one, changes[one.id][-LISTED:]) for one in kept]
        return Response(_json(listed), media_type="application/json")

    @app.get("/v1/alerts/rate")
    def alert_rate() -> AlertRate:
        now_ns = time.time_ns()
        told_ns = store.alerts.told_ns(now_ns - PARTS_A_DAY * PART_NS, now_ns)
        return rate(told_ns, store.alerts.first_ns(), now_ns)

    @app.get("/v1/alerts/{alert}")
    def one(alert: int) -> AlertView:
        found = book.open.get(alert)
        if found is not None:
            return _open_view(found, _by_cause(list(book.open.values())), most=MOST_HISTORY)
        kept = store.alerts.one(alert)
        if kept is None:
            raise NoSuch("alert", alert, [str(known) for known in sorted(book.open)])
        return _view(kept, store.alerts.changes([alert])[alert])

    _add_orders(app, rack, book)


def _add_orders(app: FastAPI, rack: Rack, book: AlertBook) -> None:
    guarded = [Depends(own_page)]

    async def do(act: Callable[[], None], done: str) -> Said:
        await wait(rack.order(lambda _clock_s, _time_ns: act()))
        return Said(done=done)

    @app.post("/v1/alerts/{alert}/acknowledge", dependencies=guarded)
    async def acknowledge(alert: int, order: NoteOrder) -> Said:
        return await do(
            lambda: alertorders.acknowledge(book, alert, order.person, order.note), f"alert {alert} is acknowledged"
        )

    @app.post("/v1/alerts/{alert}/shelve", dependencies=guarded)
    async def shelve(alert: int, order: ShelveOrder) -> Said:
        return await do(
            lambda: alertorders.shelve(book, alert, order.minutes, order.person, order.reason),
            f"alert {alert} is shelved for {order.minutes:g} minutes",
        )

    @app.post("/v1/alerts/{alert}/unshelve", dependencies=guarded)
    async def unshelve(alert: int, order: NoteOrder) -> Said:
        return await do(
            lambda: alertorders.unshelve(book, alert, order.person, order.note), f"alert {alert} is off the shelf"
        )

    @app.post("/v1/alerts/{alert}/out-of-service", dependencies=guarded)
    async def out_of_service(alert: int, order: ReasonOrder) -> Said:
        return await do(
            lambda: alertorders.out_of_service(book, alert, order.person, order.note),
            f"alert {alert} is out of service until it is put back",
        )

    @app.post("/v1/alerts/{alert}/in-service", dependencies=guarded)
    async def in_service(alert: int, order: NoteOrder) -> Said:
        return await do(
            lambda: alertorders.in_service(book, alert, order.person, order.note), f"alert {alert} is in service again"
        )

    @app.post("/v1/alerts/{alert}/reset", dependencies=guarded)
    async def reset(alert: int, order: ReasonOrder) -> Said:
        return await do(lambda: alertorders.reset(book, alert, order.person, order.note), f"alert {alert} is reset")


def open_alerts(book: AlertBook) -> list[AlertView]:
    """Everything open, worst and newest first, what a person has hidden last; effects under their causes."""
    found = list(book.open.values())
    numbers = {alert.kept.id for alert in found}
    under = _by_cause(found)
    # an order may come between two looks at an alert: none is left out for that
    top = [alert for alert in found if alert.kept.cause not in numbers]
    return [_open_view(alert, under, most=LISTED) for alert in sorted(top, key=_worst_first)]


def _json(listed: Sequence[AlertView]) -> bytes:
    # alert by alert: written whole, a long list would hold the interpreter's lock, which the safety loop needs too
    return b"[" + b",".join(alert.model_dump_json().encode() for alert in listed) + b"]"


def _worst_first(alert: Alert) -> tuple[bool, int, bool, int]:
    kept = alert.kept
    return kept.state in HIDDEN, -RANK[kept.priority], kept.beneath not in ACTIVE, -kept.raised_ns


def _by_cause(found: Sequence[Alert]) -> dict[int, list[Alert]]:
    under: dict[int, list[Alert]] = {}
    for alert in found:
        if alert.kept.cause is not None:
            under.setdefault(alert.kept.cause, []).append(alert)
    return under


def _open_view(alert: Alert, under: dict[int, list[Alert]], *, most: int) -> AlertView:
    view = _view(alert.kept, alert.history[-most:])
    view.may = _may(alert)
    view.folded = [
        _open_view(effect, under, most=most) for effect in sorted(under.get(alert.kept.id, []), key=_worst_first)
    ]
    return view


def _view(kept: AlertKept, history: Sequence[AlertChangeView]) -> AlertView:
    return AlertView(
        id=kept.id,
        bay=kept.bay,
        rule=kept.rule,
        subject=kept.subject,
        priority=kept.priority,
        state=kept.state,
        active=kept.beneath in ACTIVE,
        unseen=kept.state in UNSEEN,
        job=kept.job,
        cause=kept.cause,
        raised_ns=kept.raised_ns,
        returned_ns=kept.returned_ns,
        shelved_until_ns=kept.shelved_until_ns,
        text=kept.text,
        value=_number(kept.value),
        limit=_number(kept.limit_value),
        unit=kept.unit,
        history=list(history),
    )


def _may(alert: Alert) -> list[str]:
    life = alert.life
    out = State.OUT_OF_SERVICE in life.hidden
    can = {
        "acknowledge": life.after(Change.ACKNOWLEDGED) is not None,
        "reset": alert.can_reset,
        "shelve": not out and life.after(Change.SHELVED) is not None,
        "unshelve": life.after(Change.UNSHELVED) is not None,
        "out-of-service": not out,
        "in-service": out,
    }
    return [order for order, possible in can.items() if possible]


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
