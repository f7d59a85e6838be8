"""What people may do with an alert, each with their name and a note; to be called on the safety loop."""

from alerts.folding import LINK
from alerts.life import Change, State
from daemon.alert import Alert
from daemon.alertbook import AlertBook
from daemon.errors import NoSuch, Refused

_STATES = {
    State.UNACKNOWLEDGED: "is not acknowledged yet",
    State.ACKNOWLEDGED: "is acknowledged already",
    State.RETURNED: "has returned to normal, and waits to be acknowledged",
    State.LATCHED: "has returned to normal, and waits to be acknowledged and reset",
    State.LATCHED_ACKNOWLEDGED: "is acknowledged, and waits to be reset",
    State.SUPPRESSED: "is folded under its cause",
    State.SHELVED: "is shelved: unshelve it first",
    State.OUT_OF_SERVICE: "is out of service: put it back first",
}


def acknowledge(book: AlertBook, alert: int, person: str, note: str) -> None:
    """A person has seen an alert, and with it what is folded under it; NoSuch, Refused."""
    found = find(book, alert)
    if found.life.after(Change.ACKNOWLEDGED) is None:
        raise _refused(found)
    for effect in _effects(book, found):
        book.change(effect, Change.ACKNOWLEDGED, person=person, note=note)
    book.change(found, Change.ACKNOWLEDGED, person=person, note=note)


def reset(book: AlertBook, alert: int, person: str, note: str) -> None:
    """A person has mended what tripped a bay; who resets has seen it. NoSuch; Refused while the cause stands."""
    found = find(book, alert)
    if found.life.active:
        raise Refused(f"alert {alert} still stands: a trip is reset when its cause has gone")
    if not found.can_reset:
        raise _refused(found)
    for one in [*_effects(book, found), found]:
        if one.can_reset:
            if one.life.core is State.LATCHED:
                book.change(one, Change.ACKNOWLEDGED, person=person, note=note)
            book.change(one, Change.RESET, person=person, note=note)


def shelve(book: AlertBook, alert: int, minutes: float, person: str, reason: str) -> None:
    """A person hides an alert for some minutes, and what is folded under it; NoSuch, Refused."""
    found = find(book, alert)
    if found.life.after(Change.SHELVED) is None or State.OUT_OF_SERVICE in found.life.hidden:
        raise _refused(found)
    book.shelve(found, minutes, person, reason)


def unshelve(book: AlertBook, alert: int, person: str, note: str) -> None:
    """A person takes an alert off the shelf before its time; NoSuch, Refused."""
    found = find(book, alert)
    if not book.change(found, Change.UNSHELVED, person=person, note=note, shelved_until_ns=None):
        raise _refused(found)


def out_of_service(book: AlertBook, alert: int, person: str, note: str) -> None:
    """A person takes an alert out of service; what was folded under it stands for itself. NoSuch, Refused."""
    found = find(book, alert)
    if not book.change(found, Change.OUT_OF_SERVICE, person=person, note=note):
        raise _refused(found)
    for effect in book.under(found):
        book.release(effect)


def in_service(book: AlertBook, alert: int, person: str, note: str) -> None:
    """A person puts an alert back in service; NoSuch, Refused."""
    found = find(book, alert)
    if not book.change(found, Change.IN_SERVICE, person=person, note=note):
        raise _refused(found)


def find(book: AlertBook, alert: int) -> Alert:
    """An open alert by its id; raises NoSuch."""
    found = book.open.get(alert)
    if found is None:
        raise NoSuch("open alert", alert, [str(known) for known in sorted(book.open)])
    return found


def _effects(book: AlertBook, root: Alert) -> list[Alert]:
    """What is folded under an alert, deepest first; not what it only makes unknowable: nobody has seen that."""
    said: list[Alert] = []
    for effect in book.under(root):
        if root.kept.rule != LINK or effect.kept.rule == LINK:
            said += [*_effects(book, effect), effect]
    return said


def _refused(alert: Alert) -> Refused:
    return Refused(f"alert {alert.kept.id} {_STATES.get(alert.life.state, 'is normal')}")
