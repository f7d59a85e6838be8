"""Frames in SQLite: one wide row a frame, in the order of bay and sample time, and each job's span beside them.

Python's sqlite3 gives up the interpreter lock at every row that goes in or out, and has to wait up to 5 ms to
get it back while another thread computes: 2 000 rows one by one took 0.56 s beside a busy thread, in groups of
128 a statement 0.02 s. So rows go in by the group, and columns come out as one JSON text each.
"""

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from itertools import chain
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
import numpy as np

from daemon.errors import StoreUnfit
from daemon.store.buckets import Buckets, Floats, Nanos
from daemon.store.pyramid import SCHEMA as BUCKETS
from daemon.store.pyramid import Pyramid, Row, Slots, read_buckets
from sensors.types import CHANNELS, DETECTED, NAN, NO_VOLTS, Frame

VERSION, BUCKETS_SINCE, VOLTS_SINCE = 3, 2, 3
BUSY_S = 1.0
GROUP = 128  # rows a statement: 30 parameters each, far under SQLite's 32 766
PAGE = 2000  # frames a read, so that no reader keeps the write-ahead log from being folded back

_COLUMNS = ", ".join(f'"{name}"' for name in CHANNELS)
_SCHEMA = f"""
CREATE TABLE frames (
    bay TEXT NOT NULL, time_ns INTEGER NOT NULL, seq INTEGER NOT NULL, job INTEGER NOT NULL, clock_s REAL NOT NULL,
    {", ".join(f'"{name}" REAL' for name in CHANNELS)}, quality BLOB NOT NULL,
    PRIMARY KEY (bay, time_ns, seq)
) WITHOUT ROWID;
CREATE TABLE spans (
    job INTEGER PRIMARY KEY, bay TEXT NOT NULL, zero_ns INTEGER NOT NULL, first_ns INTEGER NOT NULL,
    last_ns INTEGER NOT NULL
);
"""
_VOLTS = tuple(f'"{name} volts"' for name in DETECTED)
_WITH_VOLTS = "".join(f"ALTER TABLE frames ADD COLUMN {name} REAL;" for name in _VOLTS)
#: by the version that a file has: what brings it to the next
_STEPS = (_SCHEMA, BUCKETS, _WITH_VOLTS)
_ROW = f"({', '.join('?' * (len(CHANNELS) + 6 + len(_VOLTS)))})"
_READ = f"SELECT time_ns, seq, {{volts}}, clock_s, {_COLUMNS}, quality FROM frames WHERE bay = ?"
_floats = msgspec.json.Decoder(list[float | None])
_ints = msgspec.json.Decoder(list[int])


class Span(msgspec.Struct):
    """Where the frames of a job lie; ``zero_ns`` is the job's start on the clock that stamps its frames."""

    job: int
    bay: str
    zero_ns: int
    first_ns: int
    last_ns: int


class Readings(NamedTuple):
    """So many frames as columns: sample times, and of each of CHANNELS its values, nan where there is none."""

    times_ns: Nanos
    values: list[Floats]


def row(frame: Frame, job: int) -> Row:
    """A frame as its row; SQLite keeps nan as NULL."""
    return (frame.bay, frame.time_ns, frame.seq, job, frame.clock_s, *frame.values, frame.quality, *frame.volts)


def _span(db: sqlite3.Connection, job: int) -> Span | None:
    found = db.execute("SELECT job, bay, zero_ns, first_ns, last_ns FROM spans WHERE job = ?", (job,)).fetchone()
    return Span(*found) if found else None


class FrameWriter:
    """The one connection that writes frames. Raises StoreUnfit when the file is none of ours.

    Not ``alone``: what an earlier run left unsummed is left to the next start, as some of it may be of jobs that run.
    """

    def __init__(self, path: Path, *, alone: bool = True) -> None:
        self._db = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
        try:
            self._db.execute("PRAGMA journal_mode = WAL")
            # a commit is on the disk, not on its way there, when it returns
            self._db.execute("PRAGMA synchronous = FULL")
            self._db.execute("PRAGMA journal_size_limit = 67108864")
            version = self._db.execute("PRAGMA user_version").fetchone()[0]
            if version < VERSION:
                steps = "".join(_STEPS[version:])
                self._db.executescript(f"BEGIN; {steps} PRAGMA user_version = {VERSION}; COMMIT;")
        except sqlite3.Error as err:
            self._db.close()
            raise StoreUnfit(path, str(err)) from err
        if version > VERSION:
            self._db.close()
            raise StoreUnfit(path, f"was made by a newer keysoak (frames version {version}, known: {VERSION})")
        try:
            self._pyramid = Pyramid(self._db, alone=alone)
        except sqlite3.Error as err:
            self._db.close()
            raise StoreUnfit(path, str(err)) from err

    def write(self, rows: Sequence[Row], spans: Iterable[Span]) -> None:
        """Keep all or none, with the buckets that end; a row that is there already is left as it is.

        Raises sqlite3.Error.
        """
        db = self._db
        db.execute("BEGIN IMMEDIATE")
        try:
            new = 0
            for i in range(0, len(rows), GROUP):
                group = rows[i : i + GROUP]
                sql = f"INSERT OR IGNORE INTO frames VALUES {', '.join([_ROW] * len(group))}"
                new += db.execute(sql, tuple(chain.from_iterable(group))).rowcount
            self._pyramid.add(rows, new == len(rows))
            db.executemany(
                "INSERT OR REPLACE INTO spans VALUES (?, ?, ?, ?, ?)",
                [(s.job, s.bay, s.zero_ns, s.first_ns, s.last_ns) for s in spans],
            )
            db.execute("COMMIT")
        finally:
            if db.in_transaction:
                self._pyramid.forget()
                db.execute("ROLLBACK")

    def fill(self) -> bool:
        """One short step towards buckets of frames that were written before there were any; False when all is done.

        Raises sqlite3.Error.
        """
        return self._pyramid.fill()

    def span(self, job: int) -> Span | None:
        """Where the frames of ``job`` lie; None while none is kept. Raises sqlite3.Error."""
        return _span(self._db, job)

    def close(self) -> None:
        """Fold the write-ahead log back and let go of the file."""
        self._db.close()


class FrameReader:
    """Reads frames; a connection a read, so that it may be used from any thread."""

    def __init__(self, path: Path) -> None:
        self._path = path

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        try:
            uri = f"{self._path.absolute().as_uri()}?mode=ro"
            with closing(sqlite3.connect(uri, uri=True, timeout=BUSY_S)) as db:
                # one moment for all that is asked: what is counted first and read then must be the same
                db.execute("BEGIN")
                yield db
        except sqlite3.Error as err:
            raise StoreUnfit(self._path, str(err)) from err

    def span(self, job: int) -> Span | None:
        """Where the frames of ``job`` lie; None while none is kept."""
        with self._reading() as db:
            return _span(db, job)

    def frames(self, bay: str, from_ns: int, to_ns: int, job: int | None = None) -> Iterator[Frame]:
        """Frames by sample time, both ends included; of one job where it is given. Holds no lock between pages."""
        for page in self._pages(bay, (from_ns, to_ns), job):
            for time_ns, seq, v_forward, v_peak, v_reflected, clock_s, *values, quality in page:
                full = tuple(NAN if v is None else v for v in values)
                volts = NO_VOLTS
                if not (v_forward is None and v_peak is None and v_reflected is None):
                    volts = tuple(NAN if v is None else v for v in (v_forward, v_peak, v_reflected))
                yield Frame(bay, time_ns, clock_s, seq, full, quality, volts)

    def readings(self, span: Span) -> Iterator[Readings]:
        """What the frames of a job read, to the last digit, page by page by sample time."""
        for page in self._pages(span.bay, (span.first_ns, span.last_ns), span.job):
            columns = list(zip(*page, strict=True))
            values = columns[len(columns) - 1 - len(CHANNELS) : -1]
            # None becomes nan
            yield Readings(np.array(columns[0], np.int64), [np.array(column, np.float64) for column in values])

    def _pages(self, bay: str, between_ns: tuple[int, int], job: int | None) -> Iterator[list[Any]]:
        from_ns, to_ns = between_ns
        with self._reading() as db:
            kept = db.execute("PRAGMA user_version").fetchone()[0] >= VOLTS_SINCE
        sql = _READ.format(volts=", ".join(_VOLTS if kept else ["NULL"] * len(_VOLTS)))
        sql += " AND time_ns <= ? AND (time_ns, seq) > (?, ?)"
        sql += "" if job is None else " AND job = ?"
        sql += f" ORDER BY time_ns, seq LIMIT {PAGE}"
        after: tuple[int, int] = (from_ns - 1, 2**63 - 1)
        while True:
            with self._reading() as db:
                page = db.execute(sql, (bay, to_ns, *after, *(() if job is None else (job,)))).fetchall()
            if page:
                yield page
            if len(page) < PAGE:
                return
            after = page[-1][:2]

    def columns(
        self, span: Span, from_ns: int, to_ns: int, channels: Sequence[str] = CHANNELS
    ) -> tuple[Nanos, dict[str, Floats]]:
        """Sample times, and the channels that have any value there (nan where there is none), 15 digits."""
        part = "FROM frames WHERE bay = ? AND time_ns BETWEEN ? AND ? AND job = ?"
        args = (span.bay, from_ns, to_ns, span.job)
        with self._reading() as db:
            counts = ", ".join(f'count("{name}")' for name in channels)
            had = db.execute(f"SELECT {counts} {part}", args).fetchone()
            names = [name for name, n in zip(channels, had, strict=True) if n]
            texts_of = "".join(f', json_group_array("{name}")' for name in names)
            needed = "".join(f', "{name}"' for name in names)
            # a sub-select keeps the order that its ORDER BY gives; an aggregate has none of its own in SQLite 3.40
            inner = f"SELECT time_ns{needed} {part} ORDER BY time_ns, seq"
            sql = f"SELECT json_group_array(time_ns){texts_of} FROM ({inner})"
            times, *texts = db.execute(sql, args).fetchone()
        values = {n: np.array(_floats.decode(t), np.float64) for n, t in zip(names, texts, strict=True)}
        return np.array(_ints.decode(times), np.int64), values

    def in_buckets(self, of: Slots) -> int:
        """How many frames are in these buckets; 0 where none were made yet."""
        with self._reading() as db:
            if db.execute("PRAGMA user_version").fetchone()[0] < BUCKETS_SINCE:
                return 0
            sql = "SELECT sum(frames) FROM buckets WHERE job = ? AND level = ? AND slot >= ? AND slot < ?"
            return db.execute(sql, of).fetchone()[0] or 0

    def buckets(self, of: Slots, series: Sequence[str]) -> tuple[Nanos, Buckets]:
        """The slots that have a bucket, and the buckets with the ``series`` asked for, both in the order of time."""
        with self._reading() as db:
            return read_buckets(db, of, series)
