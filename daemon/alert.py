"""One open alert as the book holds it: what is kept of it, its life, its history, its moments on the rules' clock."""

from collections.abc import Sequence
from typing import Protocol

import msgspec

from alerts.folding import RANK
from alerts.life import Change, Life, State
from alerts.types import Priority
from daemon.api.alert_models import AlertChangeView
from daemon.store.items import AlertChanged, AlertKept, Item
from sensors.types import NAN

#: an open alert carries this much of its history; all of it is in the store
MOST_HISTORY = 60

Key = tuple[str, str, str]


class AlertKeeper(Protocol):
    """What is needed of the store; nothing here may block."""

    def put(self, item: Item) -> None:
        """Queue something to be kept."""

    def next_alert(self) -> int:
        """An id that no alert ever had."""

    def next_change(self) -> int:
        """An id over those of all changes so far."""


class Alert:
    """One open alert. ``kept``, ``life`` and ``history`` are replaced whole, so that any thread may read them."""

    __slots__ = ("history", "kept", "life", "raised_s", "shelf_end_s", "standing")

    def __init__(self, kept: AlertKept, life: Life, raised_s: float) -> None:
        self.kept = kept
        self.life = life
        self.history: tuple[AlertChangeView, ...] = ()
        self.standing: set[str] = set()  # priorities whose condition stands
        self.raised_s = raised_s
        self.shelf_end_s = NAN

    @property
    def key(self) -> Key:
        """What it is about; there is never more than one open alert of a key."""
        return self.kept.bay, self.kept.rule, self.kept.subject

    @property
    def rank(self) -> int:
        """How much it presses."""
        return RANK[self.kept.priority]

    @property
    def can_reset(self) -> bool:
        """Whether a person may end it: a trip whose cause has gone, which nobody has hidden."""
        life = self.life.after(Change.ACKNOWLEDGED) if self.life.core is State.LATCHED else self.life
        return life is not None and life.after(Change.RESET) is not None

    def put_down(self, change: AlertChanged) -> None:
        """Take a change into the history."""
        self.history = (*self.history[1 - MOST_HISTORY :], view(change))


def view(change: AlertChanged) -> AlertChangeView:
    """A change as the API says it."""
    return AlertChangeView(
        id=change.id,
        time_ns=change.time_ns,
        change=change.change,
        state=change.alert.state,
        priority=change.alert.priority,
        told=change.told,
        person=change.person,
        note=change.note,
        text=change.text,
    )


def life_of(kept: AlertKept, history: Sequence[AlertChangeView]) -> Life:
    """The life of an alert that was kept by an earlier run."""
    core = State(kept.beneath)
    veils = {
        State.OUT_OF_SERVICE: kept.state == State.OUT_OF_SERVICE,
        State.SHELVED: kept.shelved_until_ns is not None,
        State.SUPPRESSED: kept.cause is not None,
    }
    owed = False
    for change in history:
        if change.change in (Change.RAISED, Change.WORSENED):
            owed = not change.told
        elif change.told or change.change in (Change.ACKNOWLEDGED, Change.RESET):
            owed = False
    return Life(
        core,
        frozenset(state for state, lies in veils.items() if lies),
        latching=kept.priority == Priority.TRIP and core is not State.NORMAL,
        owed=owed and core is not State.NORMAL,
    )


def clock_of(time_ns: int, now_s: float, now_ns: int) -> float:
    """When a moment of an earlier run was, on this run's clock; never ahead, whatever the wall clock did since."""
    return now_s - max(0, now_ns - time_ns) / 1e9


def found_again(kept: AlertKept, history: Sequence[AlertChangeView], now_s: float, now_ns: int) -> Alert:
    """An open alert of an earlier run."""
    alert = Alert(kept, life_of(kept, history), clock_of(kept.raised_ns, now_s, now_ns))
    alert.history = tuple(history[-MOST_HISTORY:])
    if alert.life.active:
        alert.standing.add(kept.priority)
    if kept.shelved_until_ns is not None:
        alert.shelf_end_s = now_s + (kept.shelved_until_ns - now_ns) / 1e9
    return alert


def begun(alert: int, bay: str, rule: str, subject: str) -> AlertKept:
    """An alert of which nothing has been said yet."""
    return msgspec.convert(
        {
            "id": alert,
            "bay": bay,
            "rule": rule,
            "subject": subject,
            "priority": Priority.ADVISORY.value,
            "state": State.NORMAL.value,
            "beneath": State.NORMAL.value,
            "job": None,
            "cause": None,
            "raised_ns": 0,
            "returned_ns": None,
            "shelved_until_ns": None,
            "text": "",
            "value": NAN,
            "limit_value": NAN,
            "unit": "",
        },
        AlertKept,
    )
