"""The durable outbox in the catalog: what is to be told to whom, and what became of it.

A message is booked in the same commit as the note that its change has been worked out, and marked only after the
target took it: whenever the daemon is killed, it is sent once more at most, and never lost.
"""

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import msgspec
import sqlalchemy as sa

from alerts.life import UNSEEN, Change, State
from daemon.config import TellTable
from daemon.delivery.message import Told
from daemon.store.catalog import engine
from daemon.store.tables import ALERT, ALERT_CHANGE, DELIVERY, DELIVERY_BOOKED, JOBS

#: changes worked out in one commit
MOST = 200
WAITING, DONE, FAILED, NEEDLESS = "waiting", "done", "failed", "needless"
NO_TARGET = "rack.toml has no [[tell]] of this name any more"
DEALT_WITH = "acknowledged, or dealt with otherwise"


class Booked(msgspec.Struct):
    """One message that waits for its target; ``next_try_ns`` is UTC, for the time after a restart."""

    id: int
    target: str
    change: int
    tries: int
    next_try_ns: int
    escalation: bool


def routes(tell: Sequence[TellTable], priority: str) -> dict[str, float]:
    """Who is told of such a change, and how many minutes after it: 0 at once, else unless acknowledged."""
    after: dict[str, float] = {}
    waiting = list(tell)
    while waiting:
        # a table may name one that comes after it; rack.toml has no circles
        ready = [t for t in waiting if t.escalate_from is None or t.escalate_from not in {w.name for w in waiting}]
        for table in ready:
            waiting.remove(table)
            if priority not in table.priorities:
                continue
            if table.escalate_from is None:
                after[table.name] = 0.0
            elif table.escalate_from in after:
                after[table.name] = after[table.escalate_from] + table.escalate_after_min
    return after


class Outbox:
    """Books and marks deliveries, from any thread. Every call may raise sqlalchemy's DBAPIError and be tried again."""

    def __init__(self, path: Path, wall_ns: Callable[[], int] = time.time_ns) -> None:
        self.path = path
        self._engine = engine(path)
        self._wall_ns = wall_ns

    def book(self, tell: Sequence[TellTable]) -> tuple[list[Booked], bool]:
        """Work out what has changed since the last call: the messages of it, and whether anything had changed."""
        with self._engine.connect() as db:
            after = db.execute(sa.select(DELIVERY_BOOKED.c.change)).scalar_one()
            changed = ALERT_CHANGE.c
            query = sa.select(changed.id, changed.told, changed.priority, changed.time_ns)
            rows = db.execute(query.where(changed.id > after).order_by(changed.id).limit(MOST)).all()
            if not rows:
                return [], False
            # nothing has been written so far, so that the reading above holds no lock that would have to grow
            db.execute(DELIVERY_BOOKED.update().values(change=rows[-1].id))
            fresh = [_due(row, *to) for row in rows if row.told for to in routes(tell, row.priority).items()]
            made = self._insert(db, fresh) if fresh else []
            db.commit()
        return made, True

    def _insert(self, db: sa.Connection, fresh: Sequence[dict[str, Any]]) -> list[Booked]:
        # all in one statement: one by one they held the interpreter's lock for longer, for which the safety loop waits
        insert = DELIVERY.insert().returning(DELIVERY.c.id, sort_by_parameter_order=True)
        ids = db.execute(insert, [values | {"state": WAITING, "last_error": ""} for values in fresh]).scalars()
        return [Booked(id=id_, **values) for id_, values in zip(ids, fresh, strict=True)]

    def waiting(self, tell: Sequence[TellTable]) -> list[Booked]:
        """What an earlier run left, in order; what was for a target that is no more is given up."""
        names = [table.name for table in tell]
        given_up = {"state": FAILED, "last_error": NO_TARGET, "ended_ns": self._wall_ns()}
        with self._engine.begin() as db:
            open_ = DELIVERY.c.state == WAITING
            db.execute(DELIVERY.update().where(open_, DELIVERY.c.target.not_in(names)).values(given_up))
            rows = db.execute(sa.select(DELIVERY).where(open_).order_by(DELIVERY.c.change)).mappings().all()
        return [Booked(**{name: row[name] for name in Booked.__struct_fields__}) for row in rows]

    def told(self, booked: Booked) -> Told | None:
        """What the message says; None where it is an escalation and the alert has been dealt with."""
        change, alert = ALERT_CHANGE.c, ALERT.c
        columns = (alert.bay, alert.rule, alert.state, change.alert, change.priority, change.time_ns, change.text)
        source = ALERT_CHANGE.join(ALERT, alert.id == change.alert).outerjoin(JOBS, JOBS.c.job == alert.job)
        query = sa.select(*columns, JOBS.c.number, JOBS.c.unit.label("radio")).select_from(source)
        with self._engine.connect() as db:
            row = db.execute(query.where(change.id == booked.change)).one()
            if booked.escalation and (row.state not in UNSEEN or self._acknowledged(db, row.alert, booked.change)):
                return None
        return Told(
            alert=row.alert,
            change=booked.change,
            bay=row.bay,
            rule=row.rule,
            priority=row.priority,
            time_ns=row.time_ns,
            text=row.text,
            number=row.number or "",
            radio=row.radio or "",
            unheard_min=round((booked.next_try_ns - row.time_ns) / 60e9, 3) if booked.escalation else 0.0,
        )

    def _acknowledged(self, db: sa.Connection, alert: int, change: int) -> bool:
        # one that came back since is told for its own change, in its own time
        later = ALERT_CHANGE.c.alert == alert, ALERT_CHANGE.c.id > change
        found = sa.select(ALERT_CHANGE.c.id).where(*later, ALERT_CHANGE.c.change == Change.ACKNOWLEDGED)
        return db.execute(found.limit(1)).first() is not None

    def missed(self, booked: Booked, why: str, wait_s: float) -> None:
        """A try failed; the next one is due in ``wait_s``."""
        at_ns = booked.next_try_ns if booked.escalation else self._wall_ns() + round(wait_s * 1e9)
        self._mark(booked, tries=booked.tries, last_error=why, next_try_ns=at_ns)

    def end(self, booked: Booked, state: str, why: str = "") -> None:
        """The message is done, given up or needless."""
        self._mark(booked, tries=booked.tries, state=state, ended_ns=self._wall_ns(), last_error=why)

    def _mark(self, booked: Booked, **values: object) -> None:
        with self._engine.begin() as db:
            db.execute(DELIVERY.update().where(DELIVERY.c.id == booked.id).values(**values))

    def counts(self) -> dict[str, dict[str, int]]:
        """How many messages of each target are in each state."""
        query = sa.select(DELIVERY.c.target, DELIVERY.c.state, sa.func.count()).group_by(
            DELIVERY.c.target, DELIVERY.c.state
        )
        out: dict[str, dict[str, int]] = {}
        with self._engine.connect() as db:
            for target, state, count in db.execute(query):
                out.setdefault(target, {})[state] = count
        return out

    def open_alerts(self) -> list[sa.RowMapping]:
        """Every alert that is not back to normal for good, with its job's number and radio."""
        source = ALERT.outerjoin(JOBS, JOBS.c.job == ALERT.c.job)
        query = sa.select(ALERT, JOBS.c.number, JOBS.c.unit.label("radio")).select_from(source)
        with self._engine.connect() as db:
            return list(db.execute(query.where(ALERT.c.state != State.NORMAL)).mappings().all())


def _due(row: Any, target: str, after_min: float) -> dict[str, Any]:
    """A message of a change, as the table has it but for what became of it."""
    due_ns = row.time_ns + round(after_min * 60e9)
    return {"target": target, "change": row.id, "escalation": after_min > 0, "tries": 0, "next_try_ns": due_ns}
