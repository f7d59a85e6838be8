"""Buckets kept beside the frames, in the same commit: what a killed daemon leaves behind is one of the whole.

A slot is summed up when a frame of a later slot comes. From that follows what readers go by: up to the last bucket
of a level every frame of the job is in a bucket of that level, and what comes after it is read frame by frame.
"""

import sqlite3
from collections.abc import Iterable, Sequence
from itertools import chain
from operator import itemgetter
from struct import Struct
from typing import Any, NamedTuple

import msgspec
import numpy as np

from daemon.store.buckets import (
    EMPTY,
    FOLD,
    HEAD,
    HEAD_NAMES,
    SERIES,
    STAT,
    WIDTHS_NS,
    Buckets,
    Nanos,
    merged,
    of_frames,
    with_gaps,
)
from sensors.types import CHANNELS

Row = tuple[Any, ...]

SCHEMA = f"""
CREATE TABLE buckets (
    job INTEGER NOT NULL, level INTEGER NOT NULL, slot INTEGER NOT NULL,
    {", ".join(f"{name} INTEGER NOT NULL" for name in HEAD_NAMES)},
    {", ".join(f'"{name}" BLOB' for name in SERIES)},
    PRIMARY KEY (job, level, slot)
) WITHOUT ROWID;
"""
_BUCKET = f"({', '.join('?' * (3 + len(HEAD_NAMES) + len(SERIES)))})"
_VALUES = ", ".join(f'"{name}"' for name in CHANNELS)
_FRAMES = f"""
SELECT time_ns, {_VALUES} FROM frames WHERE bay = ? AND time_ns >= ? AND time_ns < ? AND job = ? ORDER BY time_ns, seq
"""
GROUP = 128  # buckets a statement
PAGE = 500  # frames a read: an array of more keeps the interpreter from the safety loop for milliseconds
#: an open slot with more frames than this (a node whose clock stands still) is read again when it ends
MOST_OPEN = 5000
#: slots a step of filling: at 10 Hz 5 120 frames, so that no commit waits for long; whole slots of both levels
FILL_SLOTS = 64

_FINE_NS = WIDTHS_NS[0]
_BAY, _TIME, _JOB, _FIRST_VALUE = 0, 1, 3, 5  # of a row of frames
_LAST_VALUE = _FIRST_VALUE + len(CHANNELS)
_ints = msgspec.json.Decoder(list[int])
_pack = Struct(f"{len(CHANNELS)}d").pack


class _Open(msgspec.Struct):
    """The slot that the frames of a bay's job fill; ``rows`` is None where they must be read again to be summed up."""

    job: int
    bay: str
    slot: int
    rows: list[Row] | None


class _Due(msgspec.Struct):
    """What one group of frames asks for: slots that have ended, and (job, bay, first, end) to be read again."""

    ended: list[_Open] = []
    again: set[tuple[int, str, int, int]] = set()


class Pyramid:
    """Sums up frames on the connection that writes them, inside its transactions."""

    def __init__(self, db: sqlite3.Connection, *, alone: bool = True) -> None:
        self._db = db
        self._open: dict[str, _Open] = {}  # by bay
        #: by job and coarse slot, the fine buckets of it that are kept; None where some must be read again
        self._fine: dict[tuple[int, int], list[Buckets] | None] = {}
        # nothing is added to these any more: each belongs to a soak of an earlier run
        self._to_fill: list[tuple[int, str, int, int]] = []
        if alone:
            self._to_fill = db.execute("SELECT job, bay, first_ns, last_ns FROM spans ORDER BY job").fetchall()

    def forget(self) -> None:
        """The transaction was rolled back: what is in memory may be of frames that are not kept."""
        self._open.clear()
        self._fine.clear()

    def add(self, rows: Sequence[Row], all_new: bool) -> None:
        """Sum up what ends by ``rows``, just written, whose spans are not yet; raises sqlite3.Error."""
        if not all_new:
            self.forget()  # one came twice and must not count twice: the frames that are kept are read again
        due = _Due()
        for row in rows:
            job = row[_JOB]
            if not job:
                continue  # no soak
            slot = row[_TIME] // _FINE_NS
            now = self._open.get(row[_BAY])
            if now is None or now.job != job:
                if now is not None:
                    due.ended.append(now)
                now = self._open[row[_BAY]] = self._met(job, row[_BAY], slot, due)
                if not all_new:
                    now.rows = None
            if slot > now.slot:
                due.ended.append(_Open(job, now.bay, now.slot, now.rows))
                now.slot, now.rows = slot, [row] if all_new else None
            elif slot < now.slot:
                due.again.add((job, now.bay, slot, slot + 1))  # late, or of a clock that was set back
            elif now.rows is not None:
                now.rows.append(row)
                if len(now.rows) > MOST_OPEN:
                    now.rows = None
        self._keep_due(due)

    def fill(self) -> bool:
        """One step towards buckets of frames of earlier runs that have none; False when there is no more to do.

        Outside a transaction. Raises sqlite3.Error.
        """
        while self._to_fill:
            job, bay, first_ns, last_ns = self._to_fill[-1]
            last = last_ns // _FINE_NS
            begin = self._ends(job, 0, first_ns // _FINE_NS)
            found = self._db.execute(f"{_FRAMES} LIMIT 1", (bay, begin * _FINE_NS, last * _FINE_NS, job)).fetchone()
            if found:
                begin = found[0] // _FINE_NS
                end = min(last, begin // FOLD * FOLD + FILL_SLOTS)
                self._db.execute("BEGIN IMMEDIATE")
                try:
                    slots = self._read_again(job, bay, begin, end)
                    self._keep_coarse(job, {slot // FOLD for slot in slots if slot // FOLD < last // FOLD})
                    self._db.execute("COMMIT")
                finally:
                    if self._db.in_transaction:
                        self._db.execute("ROLLBACK")
                return True
            self._to_fill.pop()
        return False

    def _met(self, job: int, bay: str, slot: int, due: _Due) -> _Open:
        span = self._db.execute("SELECT first_ns, last_ns FROM spans WHERE job = ?", (job,)).fetchone()
        if span is None:
            return _Open(job, bay, slot, [])
        # frames of it are kept of which nothing is known here any more
        begin = self._ends(job, 0, span[0] // _FINE_NS)
        now = _Open(job, bay, max(slot, begin, span[1] // _FINE_NS), None)
        self._fine[job, begin // FOLD] = self._fine[job, now.slot // FOLD] = None
        if begin < now.slot:
            due.again.add((job, bay, begin, now.slot))
        return now

    def _ends(self, job: int, level: int, otherwise: int) -> int:
        query = "SELECT max(slot) FROM buckets WHERE job = ? AND level = ?"
        (last,) = self._db.execute(query, (job, level)).fetchone()
        return otherwise if last is None else last + 1

    def _keep_due(self, due: _Due) -> None:
        held = [past for past in due.ended if past.rows]
        if held:
            self._keep_ended(held)
        due.again |= {(past.job, past.bay, past.slot, past.slot + 1) for past in due.ended if past.rows is None}
        for job, bay, first, end in due.again:
            for slot in self._read_again(job, bay, first, end):
                self._fine[job, slot // FOLD] = None
        open_of = {now.job: now.slot // FOLD for now in self._open.values()}
        done = [key for key in self._fine if key[1] < open_of.get(key[0], key[1] + 1)]
        groups = {key: self._fine.pop(key) for key in done}
        known = {key: fine for key, fine in groups.items() if fine}
        if known:
            starts = np.cumsum([0, *(len(fine) for fine in known.values())], dtype=np.int64)[:-1]
            self._keep(1, list(known), merged(Buckets.joined(list(chain.from_iterable(known.values()))), starts))
        again: dict[int, set[int]] = {}
        for job, slot in groups.keys() - known.keys():
            again.setdefault(job, set()).add(slot)
        for job, slots in again.items():
            self._keep_coarse(job, slots)

    def _keep_ended(self, held: list[_Open]) -> None:
        of = [sorted(past.rows or (), key=itemgetter(_TIME)) for past in held]
        starts = np.cumsum([0, *(len(rows) for rows in of[:-1])], dtype=np.int64)
        flat = list(chain.from_iterable(of))
        times_ns = np.fromiter((row[_TIME] for row in flat), np.int64, len(flat))
        packed = b"".join([_pack(*row[_FIRST_VALUE:_LAST_VALUE]) for row in flat])
        values = np.frombuffer(packed, np.float64).reshape(len(flat), len(CHANNELS))
        found = of_frames(times_ns, values, starts)
        self._keep(0, [(past.job, past.slot) for past in held], found)
        for k, past in enumerate(held):
            fine = self._fine.setdefault((past.job, past.slot // FOLD), [])
            if fine is not None:
                fine.append(Buckets(found.heads[k : k + 1], found.stats[k : k + 1]))

    def _read_again(self, job: int, bay: str, first: int, end: int) -> list[int]:
        cursor = self._db.execute(_FRAMES, (bay, first * _FINE_NS, end * _FINE_NS, job))
        slots, parts = list[int](), list[Buckets]()
        while page := cursor.fetchmany(PAGE):
            times_ns = np.array([row[0] for row in page], np.int64)
            values = np.array([row[1:] for row in page], np.float64)
            found, starts = np.unique(times_ns // _FINE_NS, return_index=True)
            slots += found.tolist()
            parts.append(of_frames(times_ns, values, starts))
        if parts:
            whole, starts = np.unique(slots, return_index=True)  # a page may end within a slot
            slots = whole.tolist()
            self._keep(0, [(job, slot) for slot in slots], merged(Buckets.joined(parts), starts))
        return slots

    def _keep_coarse(self, job: int, slots: set[int]) -> None:
        for first, end in _runs(slots):
            fine, buckets = read_buckets(self._db, Slots(job, 0, first * FOLD, end * FOLD), SERIES)
            if len(fine):
                coarse, starts = np.unique(fine // FOLD, return_index=True)
                self._keep(1, [(job, slot) for slot in coarse.tolist()], merged(buckets, starts))

    def _keep(self, level: int, keys: Sequence[tuple[int, int]], buckets: Buckets) -> None:
        heads, has = buckets.heads.tolist(), (buckets.stats["n"] > 0).tolist()
        raw, size, row = buckets.stats.tobytes(), STAT.itemsize, STAT.itemsize * len(SERIES)
        params = [
            (
                job,
                level,
                slot,
                *heads[k],
                *(
                    raw[k * row + c * size : k * row + (c + 1) * size] if there else None
                    for c, there in enumerate(has[k])
                ),
            )
            for k, (job, slot) in enumerate(keys)
        ]
        for i in range(0, len(params), GROUP):
            group = params[i : i + GROUP]
            sql = f"INSERT OR REPLACE INTO buckets VALUES {', '.join([_BUCKET] * len(group))}"
            self._db.execute(sql, tuple(chain.from_iterable(group)))


class Slots(NamedTuple):
    """Which buckets: those of one job and level from the slot ``first`` to before ``end``."""

    job: int
    level: int
    first: int
    end: int


def read_buckets(db: sqlite3.Connection, of: Slots, series: Sequence[str]) -> tuple[Nanos, Buckets]:
    """The slots that have a bucket, and the buckets with the ``series`` asked for, both in the order of time.

    One row with long texts, as each row costs a turn with the interpreter's lock. It asks twice, and what is asked must
    be of one moment: inside a transaction. Raises sqlite3.Error.
    """
    part = "FROM buckets WHERE job = :job AND level = :level AND slot >= :first AND slot < :end"
    counts = ", ".join(f'count("{name}")' for name in series)
    had = db.execute(f"SELECT {counts} {part}", of._asdict()).fetchone()
    # a bay has about half of the series, and to say of the others that they are empty would take as long
    given = [c for c, n in enumerate(had) if n]
    names = ("slot", *HEAD_NAMES)
    heads = ", ".join(f"json_group_array({name})" for name in names)
    stats = "".join(f""", group_concat(hex("{series[c]}"), '')""" for c in given)
    inner = ", ".join([*names, *(f'coalesce("{series[c]}", :none) AS "{series[c]}"' for c in given)])
    sql = f"SELECT {heads}{stats} FROM (SELECT {inner} {part} ORDER BY slot)"
    found = db.execute(sql, {"none": EMPTY.tobytes()} | of._asdict()).fetchone()
    return _decoded(found, given, len(series))


def _decoded(found: Sequence[str | None], given: Sequence[int], series: int) -> tuple[Nanos, Buckets]:
    n = 1 + len(HEAD_NAMES)
    slots, *columns = [np.array(_ints.decode(text or "[]"), np.int64) for text in found[:n]]
    heads, stats = np.empty(len(slots), HEAD), np.full((len(slots), series), EMPTY)
    for name, column in zip(HEAD_NAMES, columns, strict=True):
        heads[name] = column
    for c, text in zip(given, found[n:], strict=True):
        stats[:, c] = np.frombuffer(bytes.fromhex(text or ""), STAT)
    return slots, with_gaps(Buckets(heads, stats))


def _runs(slots: Iterable[int]) -> list[tuple[int, int]]:
    runs: list[tuple[int, int]] = []
    for slot in sorted(slots):
        if runs and runs[-1][1] == slot:
            runs[-1] = (runs[-1][0], slot + 1)
        else:
            runs.append((slot, slot + 1))
    return runs
