"""The alerts of a rack, in memory on the safety loop: what rules and people say of them, and what is put down of it.

Nothing in here blocks: a finding costs a look-up and, at the most, a walk over the open alerts of its bay, which are
no more than the rules have subjects. Every change is put into the store's queue; who is told reads it there, so that
nobody is told of what a kill could take back.
"""

import time
from collections.abc import Callable, Iterable, Mapping
from typing import Any

import msgspec

from alerts.folding import LINK, RANK, REALARM_S
from alerts.life import UNSEEN, Change, Life, State
from alerts.rules import BETWEEN_SOAKS
from alerts.types import Event, Finding, Priority
from daemon.alert import Alert, AlertKeeper, Key, begun, clock_of, found_again
from daemon.alertfolds import cause_among, effects_among, why
from daemon.api.alert_models import AlertChangeView
from daemon.said import DAEMON, NEW_SOAK, RACK, RESTARTED, SHELF_OVER, SOAK_OVER
from daemon.store.items import AlertChanged, AlertKept
from sensors.types import Clock

#: how long an alert that the daemon found standing at its start may wait to be raised anew; several dwells
CONFIRM_S = 30.0

NOT_SEEN = f"not seen again in the {CONFIRM_S:g} s since the daemon was started"
STILL_THERE = f"back within {REALARM_S:g} s of the last word of it, and still there"


class AlertBook:
    """All open alerts of a rack. To be used on the safety loop alone; ``open`` may be read from any thread.

    ``kept`` and ``histories`` are what an earlier run left open; ``link_of`` says which bays share a link.
    """

    def __init__(
        self,
        keeper: AlertKeeper,
        kept: Iterable[AlertKept] = (),
        histories: Mapping[int, list[AlertChangeView]] | None = None,
        *,
        link_of: Mapping[str, str] | None = None,
        clock: Clock = time.monotonic,
        wall_ns: Callable[[], int] = time.time_ns,
    ) -> None:
        self.open: dict[int, Alert] = {}
        self._keeper, self._clock, self._wall_ns = keeper, clock, wall_ns
        self._link_of = link_of or {}
        self._by_key: dict[Key, Alert] = {}
        self._in_bay: dict[str, dict[int, Alert]] = {}
        self._under: dict[int, dict[int, Alert]] = {}  # by the alert that they are folded under
        self._first_lost: dict[str | None, Alert] = {}  # by link, None for the daemon: the bay that was missed first
        self._soaking: set[str] = set()
        self._last_told: dict[Key, tuple[float, int]] = {}  # when, and how much it pressed
        self._late: dict[int, float] = {}  # owed, but told of too lately: when they are to be told
        self._shelved: dict[int, Alert] = {}
        self._unconfirmed: dict[int, float] = {}
        self._load(kept, histories or {})

    @property
    def unseen(self) -> int:
        """How many alerts nobody has acknowledged; what is folded or hidden is not counted."""
        return sum(alert.life.state in UNSEEN for alert in list(self.open.values()))

    # what bays say -----------------------------------------------------------------------------------------------

    def begin(self, bay: str) -> None:
        """A soak begins: its rules judge anew, and what they raise is news again."""
        self._soaking.add(bay)
        for alert in self._of(bay):
            self._return(alert, note=NEW_SOAK)
        self._last_told = {key: last for key, last in self._last_told.items() if key[0] != bay}

    def end(self, bay: str) -> None:
        """A soak is over: what only a soak judges has returned by that; a latched trip waits for a person."""
        self._soaking.discard(bay)
        for alert in sorted(self._of(bay), key=lambda one: one.kept.cause is None):
            if alert.kept.rule not in BETWEEN_SOAKS:
                self._return(alert, note=SOAK_OVER, by_end=True)

    def hear(self, job: int, finding: Finding) -> None:
        """A rule has spoken."""
        if finding.event is Event.TRIP:
            return  # the same condition was raised just before, as a trip
        key = (finding.bay, finding.rule, finding.subject)
        alert = self._by_key.get(key)
        if finding.event is Event.RETURNED:
            if alert is not None:
                alert.standing.discard(str(finding.priority))
                if not alert.standing:
                    self._return(alert, said=finding.text)
            return
        if alert is None:
            alert = Alert(begun(self._keeper.next_alert(), *key), Life(), self._clock())
            self._stand(alert)
        self._raise(alert, job, finding)
        if finding.rule not in BETWEEN_SOAKS and finding.bay not in {*self._soaking, RACK}:
            # said of the frame that ended the soak, after what ended it
            self._return(alert, note=SOAK_OVER, by_end=True)

    def tick(self) -> None:
        """Let time pass: shelves end, what waited is told, what was found at the start and not seen again returns."""
        if not (self._late or self._shelved or self._unconfirmed):
            return
        now_s = self._clock()
        for alert in [one for one in self._shelved.values() if now_s >= one.shelf_end_s]:
            self.change(alert, Change.UNSHELVED, note=SHELF_OVER, shelved_until_ns=None)
        for number in [number for number, due_s in self._late.items() if now_s >= due_s]:
            late = self.open[number]
            self._put(late, late.life, Change.RAISED, note=STILL_THERE)
        for number in [number for number, due_s in self._unconfirmed.items() if now_s >= due_s]:
            del self._unconfirmed[number]
            self._return(self.open[number], note=NOT_SEEN)

    # the life of one ---------------------------------------------------------------------------------------------

    def change(
        self, alert: Alert, change: Change, *, person: str = "", note: str = "", said: str = "", **fields: Any
    ) -> bool:
        """Have ``change`` happen to an alert, if it can; ``said`` is its own sentence, ``fields`` are of AlertKept."""
        life = alert.life.after(change)
        if life is not None:
            self._put(alert, life, change, person=person, note=note, said=said, **fields)
        return life is not None

    def shelve(self, alert: Alert, minutes: float, person: str, reason: str) -> bool:
        """Hide an alert for some minutes, if it is not hidden by that already."""
        until_ns = self._wall_ns() + round(minutes * 60e9)
        alert.shelf_end_s = self._clock() + minutes * 60
        return self.change(alert, Change.SHELVED, person=person, note=reason, shelved_until_ns=until_ns)

    def under(self, alert: Alert) -> list[Alert]:
        """What is folded under an alert, or suppressed by it."""
        return list(self._under.get(alert.kept.id, {}).values())

    def release(self, alert: Alert) -> None:
        """Let an alert that was folded stand for itself, or under another cause that it has."""
        root = self._cause_of(alert, alert.kept.priority, leaving=alert.kept.cause)
        if root is None:
            self.change(alert, Change.RELEASED, cause=None)
        else:
            self._put(alert, alert.life, Change.SUPPRESSED, note=why(root), cause=root.kept.id)

    def _raise(self, alert: Alert, job: int, finding: Finding) -> None:
        self._unconfirmed.pop(alert.kept.id, None)
        alert.standing.add(str(finding.priority))
        old = alert.life
        worse = RANK[finding.priority] > alert.rank
        if old.active and not worse:
            return
        fresh = worse or old.core is State.NORMAL
        fields: dict[str, Any] = {
            "priority": finding.priority.value if fresh else alert.kept.priority,
            "job": job or None,
            "text": finding.text,
            "value": finding.value,
            "limit_value": finding.limit,
            "unit": finding.unit,
        }
        if not old.active:
            alert.raised_s = self._clock()
            fields |= {"raised_ns": self._wall_ns(), "returned_ns": None}
        root = self._cause_of(alert, fields["priority"])
        folded = State.SUPPRESSED in old.hidden
        veiled = old
        if folded != (root is not None):
            veiled = old.after(Change.SUPPRESSED if root else Change.RELEASED) or old
        change = Change.WORSENED if old.active else Change.RAISED
        life = veiled.after(change)
        if life is None:
            return
        if fields["priority"] == Priority.TRIP:
            life = life.latched()
        cause = root.kept.id if root else None
        self._put(alert, life, change, note=why(root) if root else "", cause=cause, **fields)
        if finding.rule == LINK and root is None:
            self._first_lost[self._lost_with(alert)] = alert
        self._gather(alert)

    def _return(self, alert: Alert, *, said: str = "", note: str = "", by_end: bool = False) -> None:
        alert.standing.clear()
        self._unconfirmed.pop(alert.kept.id, None)
        if not self.change(alert, Change.RETURNED, said=said, note=note, returned_ns=self._wall_ns()):
            return
        if alert.kept.rule == LINK:
            # its bay can be seen again; another bay on the link stays folded while it is as lost as before
            for effect in self.under(alert):
                if effect.kept.rule != LINK or (effect.life.active and not by_end):
                    self.release(effect)

    def _put(
        self,
        alert: Alert,
        life: Life,
        change: Change,
        *,
        person: str = "",
        note: str = "",
        said: str = "",
        **fields: Any,
    ) -> None:
        kept = alert.kept
        told = life.due and self._may_tell(alert, change, RANK[fields.get("priority", kept.priority)])
        if told:
            life = life.told()
        alert.life = life
        alert.kept = msgspec.structs.replace(kept, **fields, state=life.state.value, beneath=life.core.value)
        item = AlertChanged(
            self._keeper.next_change(),
            alert.kept,
            self._wall_ns(),
            change.value,
            told,
            said or alert.kept.text,
            person,
            note,
        )
        self._keeper.put(item)
        alert.put_down(item)
        self._index(alert, kept.cause)

    def _may_tell(self, alert: Alert, change: Change, rank: int) -> bool:
        now_s = self._clock()
        last_s, last_rank = self._last_told.get(alert.key, (-REALARM_S, -1))
        lately = last_rank >= rank and now_s - last_s < REALARM_S
        if lately and change not in (Change.UNSHELVED, Change.IN_SERVICE):
            self._late[alert.kept.id] = last_s + REALARM_S
            return False
        self._last_told[alert.key] = (now_s, rank)
        return True

    def _cause_of(self, alert: Alert, priority: str, leaving: int | None = None) -> Alert | None:
        bay = alert.kept.bay
        here = [one for one in self._of(bay) if one is not alert and one.kept.id != leaving]
        old = self.open.get(alert.kept.cause or 0)
        first = self._first_lost.get(self._lost_with(alert))
        elsewhere = first if first is not None and first.kept.bay != bay and first.kept.id != leaving else None
        return cause_among(alert, priority, here, None if old and old.kept.id == leaving else old, elsewhere)

    def _lost_with(self, alert: Alert) -> str | None:
        return None if alert.kept.subject == DAEMON else self._link_of.get(alert.kept.bay, alert.kept.bay)

    def _gather(self, root: Alert) -> None:
        for effect in effects_among(root, self._of(root.kept.bay)):
            self.change(effect, Change.SUPPRESSED, note=why(root), cause=root.kept.id)

    # where they are found ----------------------------------------------------------------------------------------

    def _of(self, bay: str) -> list[Alert]:
        return list(self._in_bay.get(bay, {}).values())

    def _stand(self, alert: Alert) -> None:
        self.open[alert.kept.id] = alert
        self._by_key[alert.key] = alert
        self._in_bay.setdefault(alert.kept.bay, {})[alert.kept.id] = alert

    def _index(self, alert: Alert, old_cause: int | None) -> None:
        number, kept, life = alert.kept.id, alert.kept, alert.life
        if old_cause is not None and old_cause != kept.cause:
            self._under.get(old_cause, {}).pop(number, None)
        if kept.cause is not None:
            self._under.setdefault(kept.cause, {})[number] = alert
        if not life.due:
            self._late.pop(number, None)
        if State.SHELVED in life.hidden:
            self._shelved[number] = alert
        else:
            self._shelved.pop(number, None)
        if life.state is State.NORMAL:
            del self.open[number], self._by_key[alert.key], self._in_bay[kept.bay][number]
            for effect in self._under.pop(number, {}).values():
                self.release(effect)

    def _load(self, kept: Iterable[AlertKept], histories: Mapping[int, list[AlertChangeView]]) -> None:
        now_s, now_ns = self._clock(), self._wall_ns()
        for one in kept:
            history = histories.get(one.id, [])
            alert = found_again(one, history, now_s, now_ns)
            if alert.life.active:
                self._unconfirmed[one.id] = now_s + CONFIRM_S
            for change in history:
                if change.told:
                    self._last_told[alert.key] = (clock_of(change.time_ns, now_s, now_ns), RANK[change.priority])
            if alert.life.due:
                self._late[one.id] = now_s
            self._stand(alert)
            self._index(alert, None)
        for alert in list(self.open.values()):
            if alert.life.active and alert.kept.rule not in BETWEEN_SOAKS and alert.kept.bay != RACK:
                self._return(alert, note=RESTARTED, by_end=True)
        for alert in list(self.open.values()):
            # killed between what happened to the cause and what follows for its effects
            cause = alert.kept.cause
            root = self.open.get(cause) if cause is not None else None
            gone = root is None or (root.kept.rule == LINK and not root.life.active and alert.kept.rule != LINK)
            if cause is not None and gone and alert.kept.id in self.open:
                self.release(alert)
