"""Calibrations in the catalog: a new one supersedes the one before, and nothing is ever deleted."""

import math
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from daemon.api.calibration_models import CalibrationKind, CalibrationOrder, CalibrationView
from daemon.calibration import judged, tables
from daemon.calibration.known import Calibration, line_view, point_views, table_of, today
from daemon.errors import NoSuch, Refused, StoreUnfit
from daemon.store.catalog import engine
from daemon.store.tables import CALIBRATION
from sensors.calibration import Fit
from sensors.conversion import Convert
from sensors.types import NAN, UNITS


class Calibrations:
    """Keeps and reads them, from any thread; ``path`` is a catalog in its newest form.

    Raises NoSuch, Refused (also where another writer keeps the file) and StoreUnfit.
    """

    def __init__(self, path: Path, wall_ns: Callable[[], int] = time.time_ns) -> None:
        self._path, self._wall_ns = path, wall_ns
        self._engine = engine(path)

    def in_force(self) -> list[Calibration]:
        """The newest of each channel."""
        newest = sa.select(sa.func.max(CALIBRATION.c.id)).group_by(CALIBRATION.c.bay, CALIBRATION.c.channel)
        return self._ask(sa.select(CALIBRATION).where(CALIBRATION.c.id.in_(newest)).order_by(CALIBRATION.c.id))

    def of(self, ids: Iterable[int]) -> list[Calibration]:
        """Those with these ids, in their order; raises NoSuch."""
        wanted = list(ids)
        found = {one.id: one for one in self._ask(sa.select(CALIBRATION).where(CALIBRATION.c.id.in_(wanted)))}
        for one in wanted:
            if one not in found:
                raise NoSuch("calibration", one, [str(known) for known in sorted(found)])
        return [found[one] for one in wanted]

    def history(self, bay: str | None = None, channel: str | None = None, most: int = 500) -> list[CalibrationView]:
        """The newest first."""
        query = sa.select(CALIBRATION).order_by(CALIBRATION.c.id.desc()).limit(most)
        if bay is not None:
            query = query.where(CALIBRATION.c.bay == bay)
        if channel is not None:
            query = query.where(CALIBRATION.c.channel == channel)
        current = {one.id for one in self.in_force()}
        return [view(one, one.id in current) for one in self._ask(query)]

    @contextmanager
    def adding(
        self, order: CalibrationOrder, now: Calibration | None, base: Convert | None = None
    ) -> Iterator[Calibration]:
        """Keep a calibration, once what is done with it has gone well; ``now`` is the one that is in force.

        ``base`` is the channel's conversion in rack.toml. Raises Refused, also where another has come in between.
        """
        points, fit = judged.drawn(order, now, base)
        values = _columns(order, points, fit, self._wall_ns())
        try:
            with self._engine.connect() as db:
                if self._engine.dialect.name == "sqlite":
                    db.exec_driver_sql("BEGIN IMMEDIATE")
                last = sa.select(sa.func.max(CALIBRATION.c.id))
                here = last.where(CALIBRATION.c.bay == order.bay, CALIBRATION.c.channel == order.channel)
                if db.execute(here).scalar() != (now.id if now else None):
                    raise Refused(f"{order.channel} of {order.bay} was calibrated just now by another: look again")
                number = db.execute(CALIBRATION.insert().returning(CALIBRATION.c.id), values).scalar_one()
                row = db.execute(sa.select(CALIBRATION).where(CALIBRATION.c.id == number)).mappings().one()
                yield _read(row)
                db.commit()
        except sa.exc.DBAPIError as err:
            raise Refused(f"the catalog can't be written now: {err.orig}; try again") from err

    def _ask(self, query: sa.Select[Any]) -> list[Calibration]:
        try:
            with self._engine.connect() as db:
                return [_read(row) for row in db.execute(query).mappings()]
        except sa.exc.DBAPIError as err:
            raise StoreUnfit(self._path, str(err.orig)) from err


def view(one: Calibration, in_force: bool) -> CalibrationView:
    """A calibration as the API tells it."""
    day = today()
    plain = {name: getattr(one, name) for name in ("id", "bay", "channel", "reference", "u_reference", "made_ns")}
    return CalibrationView(
        **plain,
        unit=UNITS[one.channel],
        kind=one.kind,
        line=line_view(one.fit) if one.fit else None,
        points=point_views(one.points, one.fit, one.u_reference) if one.fit else [],
        table=[] if one.fit else tables.views(table_of(one.points, one.u_reference)),
        due=one.due,
        past_due=one.past_due(day),
        who=one.who,
        note=one.note,
        in_force=in_force,
        said=judged.said(one.channel, one.points, one.fit, one.u_reference, one.due, day),
    )


_FITTED = ("intercept", "slope", "pivot", "u_intercept", "u_slope", "correlation", "residual", "freedom")
_PLAIN = ("bay", "channel", "reference", "u_reference", "due", "who", "note")


def _columns(
    order: CalibrationOrder, points: Sequence[Sequence[float]], fit: Fit | None, made_ns: int
) -> dict[str, Any]:
    values: dict[str, Any] = {name: getattr(order, name) for name in _PLAIN}
    values |= {name: _known(getattr(fit, name)) if fit else None for name in _FITTED}
    return values | {"kind": str(order.kind), "points": [list(point) for point in points], "made_ns": made_ns}


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _read(row: sa.RowMapping) -> Calibration:
    fit = None
    if row["kind"] == CalibrationKind.LINE:
        fitted: dict[str, Any] = {name: NAN if row[name] is None else row[name] for name in _FITTED}
        fit = Fit(**fitted)
    plain = {name: row[name] for name in (*_PLAIN, "id", "made_ns")}
    return Calibration(**plain, fit=fit, points=tuple(map(tuple, row["points"])))
