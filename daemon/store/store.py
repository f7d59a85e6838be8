"""The store as the rest of the daemon sees it."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import ExitStack
from functools import lru_cache
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import RowMapping
from sqlalchemy.exc import DBAPIError

from daemon.api.models import CurvesView, JobView, PlanView, Tag
from daemon.errors import BadFile, NoSuch, StoreBusy, StoreUnfit
from daemon.plan import Plan
from daemon.store import curves as thinning
from daemon.store.catalog import CatalogReader, CatalogWriter
from daemon.store.frames import Floats, FrameReader, FrameWriter
from daemon.store.items import Item, JobEnded
from daemon.store.writer import COMMIT_S, MOST_WAITING, Writer
from sensors.types import CHANNELS, Frame

CATALOG, FRAMES, LOCK = "catalog.sqlite", "frames.sqlite", "lock"
CUT_SHORT = "the daemon stopped in mid-soak: readings end {at_s:.0f} s after the start; soak again"


class Reader:
    """What is kept in ``folder``, to read; from any thread, and also while another process writes.

    Raises StoreUnfit when there is no store, and later when a file can't be read.
    """

    def __init__(self, folder: Path) -> None:
        for name in (CATALOG, FRAMES):
            if not (folder / name).is_file():
                raise StoreUnfit(folder, f"holds no readings of keysoak: {name} is missing")
        self._catalog = CatalogReader(folder / CATALOG)
        self._frames = FrameReader(folder / FRAMES)

    def jobs(self, most: int = 500) -> list[JobView]:
        """The newest jobs first."""
        rows = self._catalog.jobs(most)
        tags = self._catalog.tags(rows[-1]["job"], rows[0]["job"]) if rows else {}
        return [_view(row, tags.get(row["job"], [])) for row in rows]

    def job(self, job: int) -> JobView:
        """One job; raises NoSuch."""
        return _view(self._row(job), self._tags(job))

    def findings(self, job: int) -> list[Tag]:
        """The findings of a job in the order in which they were put; raises NoSuch."""
        self._row(job)
        return self._tags(job)

    def frames(self, bay: str, from_ns: int, to_ns: int) -> Iterator[Frame]:
        """Frames of a bay by sample time, both ends included, in soaks and between them."""
        return self._frames.frames(bay, from_ns, to_ns)

    def job_frames(self, job: int) -> Iterator[Frame]:
        """Frames of a job by sample time; raises NoSuch."""
        self._row(job)
        span = self._frames.span(job)
        return self._frames.frames(span.bay, span.first_ns, span.last_ns, job) if span else iter(())

    def zero_ns(self, job: int) -> int:
        """The job's start on the clock that stamps its frames, UTC nanoseconds; raises NoSuch."""
        row = self._row(job)
        span = self._frames.span(job)
        return span.zero_ns if span else int(row["started_ns"])

    def curves(
        self, job: int, from_s: float | None = None, to_s: float | None = None, points: int = 1000
    ) -> CurvesView:
        """The channels of a job that have any value between two moments, both included.

        A channel has at most ``points`` points (16 where fewer are asked for): first and last, the least and the
        greatest of every part, and None where readings are missing. Raises NoSuch.
        """
        at_s, columns, frames = self._columns(job, from_s, to_s, CHANNELS)
        return CurvesView(
            job=job,
            from_s=from_s if from_s is not None else 0.0,
            to_s=to_s if to_s is not None else float(at_s[-1]) if len(at_s) else 0.0,
            frames=frames,
            curves=[thinning.curve(name, at_s, values, points) for name, values in columns.items()],
        )

    def strip(self, job: int, points: int = 400) -> list[tuple[float, float]]:
        """(elapsed_s, heatsink_c) of a job, at most ``points``; raises NoSuch."""
        at_s, columns, _ = self._columns(job, None, None, CHANNELS[:1])
        if not columns:
            return []
        kept_s, kept_c = thinning.thin(at_s, columns[CHANNELS[0]], points)
        pairs = zip(kept_s.tolist(), kept_c.tolist(), strict=True)
        return [(t, c) for t, c in pairs if c == c]  # noqa: PLR0124  nan

    def _columns(
        self, job: int, from_s: float | None, to_s: float | None, channels: tuple[str, ...]
    ) -> tuple[Floats, dict[str, Floats], int]:
        self._row(job)
        span = self._frames.span(job)
        if span is None:
            return thinning.NOTHING, {}, 0
        from_ns = span.first_ns if from_s is None else span.zero_ns + round(from_s * 1e9)
        to_ns = span.last_ns if to_s is None else span.zero_ns + round(to_s * 1e9)
        times_ns, columns = self._frames.columns(span, from_ns, to_ns, channels)
        at_s = thinning.elapsed(times_ns, span.zero_ns)
        return (*thinning.open_silences(at_s, columns), len(times_ns))

    def _row(self, job: int) -> RowMapping:
        row = self._catalog.job(job)
        if row is None:
            raise NoSuch("job", job, [str(known) for known in self._catalog.numbers()])
        return row

    def _tags(self, job: int) -> list[Tag]:
        return self._catalog.tags(job, job).get(job, [])


class Store(Reader):
    """The one writer of a folder; made once in the daemon, closed at its end (also a context manager).

    Makes the folder, brings its files to their newest form, and ends the jobs that a killed daemon left behind.
    Raises StoreBusy, StoreUnfit.
    """

    def __init__(self, folder: Path, most_waiting: int = MOST_WAITING, commit_s: float = COMMIT_S) -> None:
        self._lock = _lock(folder)
        with ExitStack() as undo:
            undo.callback(self._unlock)
            catalog = CatalogWriter(folder / CATALOG)
            undo.callback(catalog.close)
            frames = FrameWriter(folder / FRAMES)
            undo.callback(frames.close)
            super().__init__(folder)
            self._last_job = max(self._catalog.numbers(), default=0)
            try:
                catalog.write(self._ends_of_what_was_cut_short())
            except DBAPIError as err:
                raise StoreUnfit(folder / CATALOG, str(err.orig)) from err
            undo.pop_all()
        self._writer = Writer(frames, catalog, most_waiting, commit_s)

    def _ends_of_what_was_cut_short(self) -> list[JobEnded]:
        ends: list[JobEnded] = []
        for row in self._catalog.endless():
            span = self._frames.span(row["job"])
            lasted_ns = span.last_ns - span.zero_ns if span else 0
            why = CUT_SHORT.format(at_s=lasted_ns / 1e9)
            ends.append(JobEnded(row["job"], row["started_ns"] + lasted_ns, "incomplete", [why], {}))
        return ends

    def _unlock(self) -> None:
        if self._lock >= 0:
            os.close(self._lock)
            self._lock = -1

    def put(self, item: Item) -> None:
        """Hand over something to keep; never blocks, never raises."""
        self._writer.put(item)

    def next_job(self) -> int:
        """A job number that no job in this store has had; to be called from one thread."""
        self._last_job += 1
        return self._last_job

    @property
    def behind(self) -> int:
        """How many items wait to be committed."""
        return self._writer.behind

    @property
    def dropped(self) -> int:
        """How many items could not be kept since the store was opened."""
        return self._writer.dropped

    @property
    def error(self) -> str:
        """What keeps the store from keeping, as a sentence for a person; empty when all is well."""
        return self._writer.error

    def flush(self, timeout_s: float = 10.0) -> None:
        """Wait until everything put so far is on disk; raises StoreBehind."""
        self._writer.flush(timeout_s)

    def close(self, timeout_s: float = 10.0) -> None:
        """Commit what waits and stop; raises StoreBehind when not all could be kept."""
        try:
            self._writer.close(timeout_s)
        finally:
            self._unlock()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, err: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _lock(folder: Path) -> int:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError as err:
        raise StoreUnfit(folder, f"can't be used: {err.strerror}") from err
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as err:
        os.close(handle)
        raise StoreBusy(folder) from err
    return handle


@lru_cache(maxsize=256)
def _plan(name: str, text: str) -> PlanView:
    try:
        return Plan.from_toml(text).view()
    except BadFile:
        # written by another version: the job must still be readable
        return PlanView(name=name, total_s=0.0, phases=[])


def _view(row: RowMapping, tags: list[Tag]) -> JobView:
    same: dict[str, Any] = {name: row[name] for name in JobView.model_fields if name in row}
    plan = _plan(row["plan_name"], row["plan_text"])
    limits = {name: value for name, value in row["limits"].items() if value is not None}
    return JobView.model_validate(same | {"plan": plan, "limits": limits, "tags": tags})
