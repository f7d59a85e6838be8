"""Alerts as they are kept, for reading."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import sqlalchemy as sa

from daemon.api.alert_models import AlertChangeView
from daemon.store.items import AlertKept
from daemon.store.tables import ALERT, ALERT_CHANGE, ALERT_IDS
from sensors.types import NAN

Ask = Callable[[sa.Select[Any]], Sequence[sa.RowMapping]]

#: an alert's history is shown from its newest end
MOST_CHANGES = 200
#: ids asked for at a time: SQL has a bound to the length of a list
_PIECE = 500


class AlertReader:
    """Reads alerts and their changes, from any thread; raises StoreUnfit when the catalog can't be read."""

    def __init__(self, ask: Ask) -> None:
        self._ask = ask

    def open(self) -> list[AlertKept]:
        """All that are not normal, oldest first."""
        rows = self._ask(sa.select(ALERT).where(ALERT.c.state != "normal").order_by(ALERT.c.id))
        return [_kept(row) for row in rows]

    def closed(self, most: int) -> list[AlertKept]:
        """Those that are normal again, newest first."""
        query = sa.select(ALERT).where(ALERT.c.state == "normal").order_by(ALERT.c.id.desc()).limit(most)
        return [_kept(row) for row in self._ask(query)]

    def of_job(self, job: int) -> list[AlertKept]:
        """The alerts that a job raised, open or not, oldest first."""
        return [_kept(row) for row in self._ask(sa.select(ALERT).where(ALERT.c.job == job).order_by(ALERT.c.id))]

    def one(self, alert: int) -> AlertKept | None:
        """One alert, if there is such."""
        rows = self._ask(sa.select(ALERT).where(ALERT.c.id == alert))
        return _kept(rows[0]) if rows else None

    def changes(self, alerts: Iterable[int]) -> dict[int, list[AlertChangeView]]:
        """The newest changes of each alert, in the order in which they happened."""
        wanted = list(alerts)
        found: dict[int, list[AlertChangeView]] = {alert: [] for alert in wanted}
        for i in range(0, len(wanted), _PIECE):
            query = sa.select(ALERT_CHANGE).where(ALERT_CHANGE.c.alert.in_(wanted[i : i + _PIECE]))
            for row in self._ask(query.order_by(ALERT_CHANGE.c.id)):
                names = AlertChangeView.model_fields
                found[row["alert"]].append(AlertChangeView(**{name: row[name] for name in names}))
        return {alert: rows[-MOST_CHANGES:] for alert, rows in found.items()}

    def told_ns(self, from_ns: int, to_ns: int) -> list[int]:
        """When people were told something, between two instants, both included; in order."""
        when = ALERT_CHANGE.c.time_ns
        query = sa.select(when).where(ALERT_CHANGE.c.told, when.between(from_ns, to_ns)).order_by(when)
        return [row["time_ns"] for row in self._ask(query)]

    def first_ns(self) -> int | None:
        """When the first change that is kept happened."""
        rows = self._ask(sa.select(sa.func.min(ALERT_CHANGE.c.time_ns).label("first")))
        return None if rows[0]["first"] is None else int(rows[0]["first"])

    def last_ids(self) -> tuple[int, int]:
        """The highest id that an alert may have had, and the highest of a change."""
        taken = self._ask(sa.select(sa.func.max(ALERT_IDS.c.last).label("last")))[0]["last"] or 0
        alert = self._ask(sa.select(sa.func.max(ALERT.c.id).label("last")))[0]["last"] or 0
        change = self._ask(sa.select(sa.func.max(ALERT_CHANGE.c.id).label("last")))[0]["last"] or 0
        return max(taken, alert), change


def _kept(row: sa.RowMapping) -> AlertKept:
    figures = {name: NAN if row[name] is None else row[name] for name in ("value", "limit_value")}
    return AlertKept(**(dict(row) | figures))
