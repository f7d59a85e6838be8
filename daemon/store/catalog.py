"""The catalog of jobs and findings, by SQLAlchemy: nothing in here is SQLite's own but how it is opened."""

import math
import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import msgspec
import sqlalchemy as sa

from daemon import migrations
from daemon.api.models import Tag, WaitView
from daemon.errors import StoreUnfit
from daemon.store.items import AlertChanged, AlertIdsTaken, FindingKept, JobEnded, JobSealed, JobStarted, JobWaits
from daemon.store.tables import ALERT, ALERT_CHANGE, ALERT_IDS, FINDINGS, JOBS, SEALS, WAITS

Entry = JobStarted | JobEnded | JobWaits | FindingKept | AlertChanged | AlertIdsTaken | JobSealed


def engine(path: Path, read_only: bool = False) -> sa.Engine:
    """SQLite at ``path``; a connection a use, so that it may be used from any thread."""

    def connect() -> sqlite3.Connection:
        mode = "ro" if read_only else "rwc"
        uri = f"{path.absolute().as_uri()}?mode={mode}"
        db = sqlite3.connect(uri, uri=True, timeout=1.0, check_same_thread=False)
        if not read_only:
            db.execute("PRAGMA journal_mode = WAL")
            db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA foreign_keys = ON")
        return db

    return sa.create_engine("sqlite://", creator=connect, poolclass=sa.pool.NullPool)


class CatalogWriter:
    """The one connection that writes the catalog. Raises StoreUnfit when the file is none of ours, or newer."""

    def __init__(self, path: Path) -> None:
        try:
            self._db = engine(path).connect()
        except sa.exc.DBAPIError as err:
            raise StoreUnfit(path, str(err.orig)) from err
        try:
            migrations.upgrade(self._db, path)
            self._db.commit()
        except StoreUnfit:
            self._db.close()
            raise
        except sa.exc.DBAPIError as err:
            self._db.close()
            raise StoreUnfit(path, str(err.orig)) from err

    def write(self, entries: Iterable[Entry], *, again: bool = False) -> int:
        """Keep all or none; gives how many belong to no job that is known. Raises sqlalchemy's DBAPIError.

        ``again``: some may have been kept before, and are not kept twice.
        """
        with self._db.begin():
            return sum(not self._one(entry) for entry in entries if not (again and self._kept(entry)))

    def _kept(self, entry: Entry) -> bool:
        match entry:
            case AlertChanged():
                same = sa.select(ALERT_CHANGE.c.id).where(ALERT_CHANGE.c.id == entry.id)
            case FindingKept():
                row = _finding(entry)
                same = sa.select(FINDINGS.c.job).where(
                    *(FINDINGS.c[name].is_(v) if v is None else FINDINGS.c[name] == v for name, v in row.items())
                )
            case _:
                return False  # the others put the same in the place of what is there
        return self._db.execute(same).first() is not None

    def _one(self, entry: Entry) -> bool:
        match entry:
            case JobStarted():
                if not self._known(entry.job):
                    self._db.execute(JOBS.insert().values(_started(entry)))
            case JobEnded():
                change = JOBS.update().where(JOBS.c.job == entry.job)
                return bool(self._db.execute(change.values(_ended(entry))).rowcount)
            case FindingKept() | JobWaits() | JobSealed():
                return self._of_job(entry)
            case AlertChanged():
                self._alert(entry)
            case AlertIdsTaken():
                if not self._db.execute(ALERT_IDS.update().values(last=entry.last)).rowcount:
                    self._db.execute(ALERT_IDS.insert().values(last=entry.last))
        return True

    def _of_job(self, entry: FindingKept | JobWaits | JobSealed) -> bool:
        known = self._known(entry.job)
        if known:
            match entry:
                case FindingKept():
                    self._db.execute(FINDINGS.insert().values(_finding(entry)))
                case JobWaits():
                    self._waits(entry)
                case JobSealed():
                    self._sealed(entry)
        return known

    def _waits(self, entry: JobWaits) -> None:
        same = WAITS.update().where(WAITS.c.job == entry.job, WAITS.c.phase == entry.phase)
        if not self._db.execute(same.values(until_s=entry.until_s)).rowcount:
            self._db.execute(WAITS.insert().values(msgspec.structs.asdict(entry)))

    def _sealed(self, entry: JobSealed) -> None:
        same = SEALS.update().where(SEALS.c.job == entry.job, SEALS.c.sha256 == entry.sha256)
        if not self._db.execute(same.values(sealed_ns=entry.sealed_ns)).rowcount:
            self._db.execute(SEALS.insert().values(msgspec.structs.asdict(entry)))

    def _alert(self, entry: AlertChanged) -> None:
        row = _alert(entry)
        if not self._db.execute(ALERT.update().where(ALERT.c.id == entry.alert.id).values(row)).rowcount:
            self._db.execute(ALERT.insert().values(row))
        self._db.execute(ALERT_CHANGE.insert().values(_change(entry)))

    def _known(self, job: int) -> bool:
        return self._db.execute(sa.select(JOBS.c.job).where(JOBS.c.job == job)).first() is not None

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()


class CatalogReader:
    """Reads jobs and findings, from any thread."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._engine = engine(path, read_only=True)

    def ask(self, query: sa.Select[Any]) -> Sequence[sa.RowMapping]:
        """The rows that a query finds; raises StoreUnfit."""
        try:
            with self._engine.connect() as db:
                return db.execute(query).mappings().all()
        except sa.exc.DBAPIError as err:
            why = str(err.orig)
            if why.startswith(("no such table", "no such column")):
                why = f"was written by an older keysoak, and is brought on by keysoak serve: start it once ({why})"
            raise StoreUnfit(self._path, why) from err

    def jobs(self, most: int) -> Sequence[sa.RowMapping]:
        """The newest jobs first."""
        return self.ask(sa.select(JOBS).order_by(JOBS.c.job.desc()).limit(most))

    def job(self, job: int) -> sa.RowMapping | None:
        """One job, if there is such."""
        found = self.ask(sa.select(JOBS).where(JOBS.c.job == job))
        return found[0] if found else None

    def numbers(self) -> list[int]:
        """All job ids."""
        return [row["job"] for row in self.ask(sa.select(JOBS.c.job).order_by(JOBS.c.job))]

    def endless(self) -> Sequence[sa.RowMapping]:
        """Jobs that have begun and not ended."""
        return self.ask(sa.select(JOBS).where(JOBS.c.ended_ns.is_(None)))

    def waits(self, least: int, most: int) -> dict[int, list[WaitView]]:
        """When the plans of the jobs from ``least`` to ``most`` stood still, in the order of time."""
        waits: dict[int, list[WaitView]] = {}
        for row in self.ask(sa.select(WAITS).where(WAITS.c.job.between(least, most)).order_by(WAITS.c.at_s)):
            waits.setdefault(row["job"], []).append(WaitView(**{name: row[name] for name in WaitView.model_fields}))
        return waits

    def tags(self, least: int, most: int) -> dict[int, list[Tag]]:
        """The findings of the jobs from ``least`` to ``most``, in the order in which they were put."""
        tags: dict[int, list[Tag]] = {}
        query = sa.select(FINDINGS).where(FINDINGS.c.job.between(least, most)).order_by(FINDINGS.c.finding)
        for row in self.ask(query):
            tags.setdefault(row["job"], []).append(Tag(**{name: row[name] for name in Tag.model_fields}))
        return tags


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _started(item: JobStarted) -> dict[str, Any]:
    same = ("job", "number", "unit", "bay", "plan_name", "plan_text", "started_ns", "booking")
    limits = {name: _finite(value) for name, value in item.limits.items()}
    made = {"limits": limits, "calibrations": list(item.calibrations), "reasons": [], "figures": {}}
    return {name: getattr(item, name) for name in same} | made


def _ended(item: JobEnded) -> dict[str, Any]:
    figures = {name: _finite(value) for name, value in item.figures.items()}
    return {"ended_ns": item.ended_ns, "verdict": item.verdict, "reasons": item.reasons, "figures": figures}


def _finding(item: FindingKept) -> dict[str, Any]:
    said = item.finding
    return {
        "job": item.job,
        "at_s": item.at_s,
        "time_ns": said.time_ns,
        "bay": said.bay,
        "rule": said.rule,
        "event": str(said.event),
        "priority": str(said.priority),
        "value": _finite(said.value),
        "limit": _finite(said.limit),
        "unit": said.unit,
        "text": said.text,
    }


def _alert(item: AlertChanged) -> dict[str, Any]:
    row: dict[str, Any] = msgspec.structs.asdict(item.alert)
    return row | {"value": _finite(item.alert.value), "limit_value": _finite(item.alert.limit_value)}


def _change(item: AlertChanged) -> dict[str, Any]:
    same = ("id", "time_ns", "change", "told", "person", "note", "text")
    of_alert = {"alert": item.alert.id, "state": item.alert.state, "priority": item.alert.priority}
    return {name: getattr(item, name) for name in same} | of_alert
