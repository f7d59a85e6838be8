"""Finished jobs sealed: each as one Parquet file of the store's folder, whose SHA-256 the catalog keeps."""

import hashlib
import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import NamedTuple

import sqlalchemy as sa

from daemon.errors import NoSuch, StoreUnfit
from daemon.store.catalog import CatalogReader
from daemon.store.items import JobSealed
from daemon.store.tables import JOBS, SEALS

FOLDER = "sealed"
#: a job that has ended is in the catalog within two commits
SOON_S = 0.5
#: looks for a job that was said to have ended; one that could not be kept never comes
MOST_LOOKS = 120
#: a disk that took no file is tried again after this long
AGAIN_S = 30.0

#: the whole file of a job, piece by piece, and how many frames are in it by then
Pieces = Callable[[int], Iterator[tuple[bytes, int]]]


class Seal(NamedTuple):
    """One sealed file, as the catalog has it."""

    job: int
    sha256: str
    bytes: int
    frames: int
    sealed_ns: int


class Seals:
    """What is sealed, to read, from any thread. Raises StoreUnfit."""

    def __init__(self, folder: Path, catalog: CatalogReader) -> None:
        self._folder, self._catalog = folder / FOLDER, catalog

    def path(self, job: int) -> Path:
        """Where the sealed file of a job is, once there is one."""
        return self._folder / f"job-{job}.parquet"

    def of(self, least: int, most: int) -> dict[int, Seal]:
        """The newest seal of each job from ``least`` to ``most`` that has one."""
        query = sa.select(SEALS).where(SEALS.c.job.between(least, most)).order_by(SEALS.c.sealed_ns)
        return {seal.job: seal for seal in map(_seal, self._catalog.ask(query))}

    def by_digest(self, sha256: str) -> Seal | None:
        """The seal that such a file has, also where the job was sealed anew since."""
        found = self._catalog.ask(sa.select(SEALS).where(SEALS.c.sha256 == sha256))
        return _seal(found[0]) if found else None

    def good(self, job: int) -> Path | None:
        """The sealed file of a job, when it is there and is what was sealed."""
        seal, path = self.of(job, job).get(job), self.path(job)
        try:
            return path if seal is not None and digest(path)[0] == seal.sha256 else None
        except OSError:
            return None

    def due(self) -> list[int]:
        """Jobs that have ended and have no sealed file, or have lost it."""
        ended = sa.select(JOBS.c.job).where(JOBS.c.ended_ns.is_not(None)).order_by(JOBS.c.job)
        jobs = [int(row["job"]) for row in self._catalog.ask(ended)]
        sealed = self.of(jobs[0], jobs[-1]) if jobs else {}
        return [job for job in jobs if job not in sealed or not self.path(job).is_file()]


def _seal(row: sa.RowMapping) -> Seal:
    return Seal(*(row[name] for name in Seal._fields))


def digest(path: Path) -> tuple[str, int]:
    """SHA-256 (FIPS 180-4) of a file in hexadecimal, and its length; raises OSError."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest(), os.fstat(file.fileno()).st_size


class Sealer:
    """A thread that seals what is due: what an earlier run left, and each job when it ends.

    The file is whole under its name or not there: written under another, synchronised, renamed; then comes the
    catalog. A killed daemon seals again.
    """

    def __init__(self, seals: Seals, pieces: Pieces, keep: Callable[[JobSealed], None]) -> None:
        self._seals, self._pieces, self._keep = seals, pieces, keep
        self._ended: SimpleQueue[int | None] = SimpleQueue()
        self._awaited: dict[int, int] = {}  # a job that has ended and is not seen in the catalog yet: looks left
        self._told: set[int] = set()  # sealed by this run; the catalog may not have it yet
        self._stopped = False
        self.error = ""
        self._thread = threading.Thread(target=self._run, name="sealer", daemon=True)
        self._thread.start()

    def ended(self, job: int) -> None:
        """A job has ended, and is on its way to the catalog; never blocks."""
        self._ended.put(job)

    def stop(self) -> None:
        """Leave what is not sealed to the next run; returns when the thread has ended."""
        self._stopped = True
        self._ended.put(None)
        self._thread.join()

    def _run(self) -> None:
        while not self._stopped:
            try:
                self._seal_all()
                self.error = ""
            except (OSError, StoreUnfit, NoSuch) as err:
                self.error = f"A finished job can't be sealed: {err}."
            wait_s = SOON_S if self._awaited else AGAIN_S if self.error else None
            try:
                job = self._ended.get(timeout=wait_s)
            except Empty:
                continue
            if job is not None:
                self._awaited[job] = MOST_LOOKS

    def _seal_all(self) -> None:
        due = self._seals.due()
        self._awaited = {job: left - 1 for job, left in self._awaited.items() if left and job not in due}
        for job in due:
            if job not in self._told or not self._seals.path(job).is_file():
                self._seal(job)
            if self._stopped:
                return

    def _seal(self, job: int) -> None:
        path, frames = self._seals.path(job), 0
        path.parent.mkdir(exist_ok=True)
        part = path.with_name(f".part-{path.name}")
        try:
            with part.open("wb") as file:
                for piece, so_far in self._pieces(job):
                    if self._stopped:
                        return
                    file.write(piece)
                    frames = so_far
                file.flush()
                os.fsync(file.fileno())
            sha256, size = digest(part)
            part.replace(path)
            _sync(path.parent)
        finally:
            part.unlink(missing_ok=True)
        self._keep(JobSealed(job, sha256, size, frames, time.time_ns()))
        self._told.add(job)


def _sync(folder: Path) -> None:
    # the name is on the disk too before the catalog says so
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
