"""What is taken from the queue and not yet committed, piece by piece, so that a try that fails can be resumed."""

import math
import sqlite3
from collections import deque
from collections.abc import Iterable, Sequence
from typing import Protocol, TypeVar

import sqlalchemy as sa

from daemon.store.catalog import CatalogWriter, Entry
from daemon.store.frames import FrameWriter, Span, row
from daemon.store.items import Item, JobEnded, JobStarted
from daemon.store.pyramid import Row
from sensors.types import Frame

#: what a commit may end in; anything else is a fault of ours and may end the writer's thread
FAILURES = (sqlite3.Error, sa.exc.SQLAlchemyError, OSError, OverflowError, TypeError, ValueError)

#: the fault lies in the item (a number or a text that SQLite can't hold), so that trying again is no use
_UNFIT = (
    OverflowError,
    TypeError,
    ValueError,
    sqlite3.DataError,
    sqlite3.IntegrityError,
    sqlite3.InterfaceError,
    sqlite3.ProgrammingError,
    sa.exc.DataError,
    sa.exc.IntegrityError,
    sa.exc.InterfaceError,
    sa.exc.ProgrammingError,
)

#: the year 2116; a span reckoned from a time beyond could leave SQLite's 64 bits, and with it all frames of its job
LATEST_NS = 2**62

T = TypeVar("T")


class Disk(Protocol):
    """Where items are kept: on files of this process, or by another one."""

    @property
    def unfit(self) -> int:
        """How many items could not be kept, ever."""

    @property
    def unfit_why(self) -> str:
        """Why the last of them could not."""

    def take(self, items: Sequence[Item]) -> None:
        """Add items in the order in which they were put."""

    def commit(self) -> None:
        """Keep everything taken; raises one of FAILURES, and may then be called again."""

    def fill(self) -> None:
        """A short step of what earlier runs left to do; raises one of FAILURES."""

    def close(self) -> None:
        """Let go of the files."""


class Batch:
    """Items on their way to disk. Frames go first, so that no verdict is kept without its readings.

    ``running`` jobs had begun before; ``again``: what is taken first may have been kept, in part, by another process.
    """

    def __init__(
        self,
        frames: FrameWriter,
        catalog: CatalogWriter,
        running: Iterable[JobStarted] = (),
        *,
        again: bool = False,
    ) -> None:
        self._frames, self._catalog = frames, catalog
        self._again = again
        self._rows: deque[Sequence[Row]] = deque()
        self._entries: deque[Sequence[Entry]] = deque()
        self._running: dict[str, JobStarted] = {started.bay: started for started in running}
        found = (frames.span(started.job) for started in self._running.values())
        self._spans = {span.job: span for span in found if span is not None}
        self._changed: set[int] = set()
        self.unfit = 0  # items that could not be kept, ever
        self.unfit_why = ""

    def take(self, items: Sequence[Item]) -> None:
        """Add items in the order in which they were put; that order says to which job a frame belongs."""
        rows: list[Row] = []
        entries: list[Entry] = []
        for item in items:
            if isinstance(item, Frame):
                if not (0 <= item.time_ns <= LATEST_NS and math.isfinite(item.clock_s)):
                    self._refuse(1, f"their time, {item.time_ns} ns, is no time")
                    continue
                rows.append(row(item, self._job_of(item)))
                continue
            entries.append(item)
            if isinstance(item, JobStarted):
                self._running[item.bay] = item
            elif isinstance(item, JobEnded):
                self._running = {bay: s for bay, s in self._running.items() if s.job != item.job}
        if rows:
            self._rows.append(rows)
        if entries:
            self._entries.append(entries)

    def _job_of(self, frame: Frame) -> int:
        started = self._running.get(frame.bay)
        if started is None:
            return 0
        span = self._spans.get(started.job)
        if span is None:
            # a node may stamp by a clock of its own: the start, as that clock has it
            zero_ns = frame.time_ns - round((frame.clock_s - started.clock_s) * 1e9)
            span = Span(started.job, frame.bay, zero_ns, frame.time_ns, frame.time_ns)
            self._spans[started.job] = span
        span.first_ns = min(span.first_ns, frame.time_ns)
        span.last_ns = max(span.last_ns, frame.time_ns)
        self._changed.add(started.job)
        return started.job

    def commit(self) -> None:
        """Keep everything taken; raises what the disk gives for a reason, and may then be called again."""
        while self._rows:
            rows = self._rows[0]
            try:
                self._frames.write(rows, [self._spans[job] for job in self._changed])
            except FAILURES as err:
                self._narrow(self._rows, err)
            else:
                self._rows.popleft()
        while self._entries:
            entries = self._entries[0]
            try:
                strangers = self._catalog.write(entries, again=self._again)
            except FAILURES as err:
                self._narrow(self._entries, err)
            else:
                self._entries.popleft()
                if strangers:
                    self._refuse(strangers, "they belong to no job that is kept")
        self._again = False
        self._changed.clear()
        going_on = {started.job for started in self._running.values()}
        self._spans = {job: span for job, span in self._spans.items() if job in going_on}

    def fill(self) -> None:
        """As Disk has it."""
        self._frames.fill()

    def close(self) -> None:
        """Let go of the files."""
        self._frames.close()
        self._catalog.close()

    def _narrow(self, pieces: deque[Sequence[T]], err: Exception) -> None:
        """Split until the item that no disk would take stands alone, so that it costs no other."""
        # a value that JSON has no word for comes as StatementError itself, a trouble of the disk as its descendant
        if not isinstance(err, _UNFIT) and type(err) is not sa.exc.StatementError:
            raise err
        piece = pieces.popleft()
        if len(piece) == 1:
            self._refuse(1, str(err))
            return
        middle = len(piece) // 2
        pieces.extendleft((piece[middle:], piece[:middle]))

    def _refuse(self, n: int, why: str) -> None:
        self.unfit += n
        self.unfit_why = why
