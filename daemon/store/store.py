"""The store as the rest of the daemon sees it."""

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Self

from sqlalchemy.exc import DBAPIError

from daemon.errors import StoreBusy, StoreUnfit
from daemon.store.batch import Batch, Disk
from daemon.store.catalog import CatalogWriter
from daemon.store.elsewhere import Elsewhere
from daemon.store.frames import FrameWriter
from daemon.store.items import AlertIdsTaken, Item, JobEnded
from daemon.store.reader import CATALOG, FRAMES, Reader
from daemon.store.reserve import Reserve, full, room_to_start
from daemon.store.seals import Sealer
from daemon.store.writer import COMMIT_S, MOST_WAITING, Writer

LOCK = "lock"
#: what a killed daemon had handed to the process that writes is on disk by then, and its hold on the folder gone
LAST_WORDS_S = 1.0
#: alert ids that a run takes ahead of their use, so that a killed one leaves none that another could give out again
IDS_AHEAD = 100


class CutShort(NamedTuple):
    """A soak that an earlier run left without an end, ``at_s`` after its start."""

    bay: str
    job: int
    at_s: float


CUT_SHORT = "the daemon stopped in mid-soak: readings end {at_s:.0f} s after the start; soak again"


class Store(Reader):
    """The one writer of a folder; made once in the daemon, closed at its end (also a context manager).

    Makes the folder, brings its files to their newest form, and ends the jobs that a killed daemon left behind.
    ``serving``, as a daemon has it: a process of its own writes, since the daemon's loop must not wait for the
    interpreter's lock, and some room is set aside for the hour when the disk is full.
    Raises StoreBusy, StoreUnfit.
    """

    def __init__(
        self, folder: Path, most_waiting: int = MOST_WAITING, commit_s: float = COMMIT_S, *, serving: bool = False
    ) -> None:
        self._lock = _lock(folder)
        given_up = serving and room_to_start(folder)
        with ExitStack() as undo:
            undo.callback(self._unlock)
            undo.enter_context(_told_as_full(folder))
            catalog = CatalogWriter(folder / CATALOG)
            undo.callback(catalog.close)
            frames = FrameWriter(folder / FRAMES)
            undo.callback(frames.close)
            super().__init__(folder)
            self.cut_short: list[CutShort] = []
            self._last_job = max(self._catalog.numbers(), default=0)
            self._last_alert, self._last_change = self.alerts.last_ids()
            self._ids_taken = self._last_alert + IDS_AHEAD
            try:
                catalog.write([*self._ends_of_what_was_cut_short(), AlertIdsTaken(self._ids_taken)])
            except DBAPIError as err:
                raise StoreUnfit(folder / CATALOG, str(err.orig)) from err
            undo.pop_all()
        disk: Disk = Batch(frames, catalog)
        if serving:
            disk.close()
            disk = Elsewhere(folder, self._lock)
        self._writer = Writer(disk, most_waiting, commit_s, Reserve(folder, given_up=given_up) if serving else None)
        self._sealer = Sealer(folder, self.seals, self._writer.put)

    def _ends_of_what_was_cut_short(self) -> list[JobEnded]:
        ends: list[JobEnded] = []
        for row in self._catalog.endless():
            span = self._frames.span(row["job"])
            lasted_ns = span.last_ns - span.zero_ns if span else 0
            self.cut_short.append(CutShort(row["bay"], row["job"], lasted_ns / 1e9))
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
        if isinstance(item, JobEnded):
            self._sealer.ended(item.job)

    def next_job(self) -> int:
        """A job number that no job in this store has had; to be called from one thread."""
        self._last_job += 1
        return self._last_job

    def next_alert(self) -> int:
        """An id that no alert in this store has had, nor could have had; to be called from one thread."""
        self._last_alert += 1
        if self._last_alert + IDS_AHEAD // 2 > self._ids_taken:
            self._ids_taken += IDS_AHEAD
            self.put(AlertIdsTaken(self._ids_taken))
        return self._last_alert

    def next_change(self) -> int:
        """An id for a change in an alert's life, over all that are kept; to be called from one thread."""
        self._last_change += 1
        return self._last_change

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
        return " ".join(filter(None, (self._writer.error, self._sealer.error)))

    @property
    def refuses(self) -> str:
        """Why readings that come now might not be kept, as a sentence for a person; empty when they are."""
        return self._writer.refuses

    def flush(self, timeout_s: float = 10.0) -> None:
        """Wait until everything put so far is on disk; raises StoreBehind."""
        self._writer.flush(timeout_s)

    def close(self, timeout_s: float = 10.0) -> None:
        """Commit what waits and stop; raises StoreBehind when not all could be kept."""
        try:
            self._sealer.stop()
            self._writer.close(timeout_s)
        finally:
            self._unlock()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, err: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


@contextmanager
def _told_as_full(folder: Path) -> Iterator[None]:
    # SQLite calls it a disk I/O error, or worse, according to what it was about
    try:
        yield
    except StoreUnfit as err:
        if not full(folder):
            raise
        why = f"the disk is full: make room on it, then start again ({err.path.name}: {err.why})"
        raise StoreUnfit(folder, why) from err


def _lock(folder: Path) -> int:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError as err:
        raise StoreUnfit(folder, f"can't be used: {err.strerror}") from err
    ends_s = time.monotonic() + LAST_WORDS_S
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as err:
            if time.monotonic() > ends_s:
                os.close(handle)
                raise StoreBusy(folder) from err
            time.sleep(0.02)
        else:
            return handle
