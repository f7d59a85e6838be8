"""Finished jobs sealed: each as one Parquet file of the store's folder, whose SHA-256 the catalog keeps."""

import hashlib
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import NamedTuple

import msgspec
import sqlalchemy as sa

from daemon.errors import StoreUnfit
from daemon.priority import LAST_NICE, after
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

MOST_AT_ONCE = 100
#: how the name of a file begins that is not whole yet
PART = ".part-"
TROUBLE = "A finished job can't be sealed: {why}."


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
    """Has what is due sealed: what an earlier run left, and each job when it ends.

    A process of its own does it (`daemon.store.sealing`), at low priority: a day of readings takes ten seconds of
    computing, which in this one would hold up the safety loop by the interpreter's lock. The thread only waits for it.
    A killed daemon seals again.
    """

    def __init__(self, folder: Path, seals: Seals, keep: Callable[[JobSealed], None]) -> None:
        self._folder, self._seals, self._keep = folder, seals, keep
        self._ended: SimpleQueue[int | None] = SimpleQueue()
        self._awaited: dict[int, int] = {}  # a job that has ended and is not seen in the catalog yet: looks left
        self._told: set[int] = set()  # sealed by this run; the catalog may not have it yet
        self._child: subprocess.Popen[str] | None = None
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
        child = self._child
        if child is not None:
            child.kill()
        self._thread.join()

    def _run(self) -> None:
        wait_s: float | None = SOON_S  # a daemon that starts has more urgent things to do
        while not self._stopped:
            try:
                job = self._ended.get(timeout=wait_s)
            except Empty:
                wait_s = self._look()
            else:
                if job is not None:
                    self._awaited[job] = MOST_LOOKS
                wait_s = SOON_S

    def _look(self) -> float | None:
        try:
            due = self._seals.due()
            self._awaited = {job: left - 1 for job, left in self._awaited.items() if left and job not in due}
            due = [job for job in due if job not in self._told or not self._seals.path(job).is_file()]
            self.error = self._seal(due) if due else ""
        except (OSError, StoreUnfit) as err:
            self.error = TROUBLE.format(why=err)
        return SOON_S if self._awaited else AGAIN_S if self.error else None

    def _seal(self, jobs: list[int]) -> str:
        sealing = [sys.executable, "-m", "daemon.store.sealing", str(self._folder), *map(str, jobs[:MOST_AT_ONCE])]
        words = after(sealing, LAST_NICE)
        pipe = subprocess.PIPE
        with subprocess.Popen(words, stdin=pipe, stdout=pipe, stderr=pipe, text=True, start_new_session=True) as child:
            self._child = child
            if self._stopped:
                child.kill()
            assert child.stdout
            assert child.stderr
            for line in child.stdout:
                sealed = msgspec.json.decode(line, type=JobSealed)
                self._keep(sealed)
                self._told.add(sealed.job)
            said = child.stderr.read().strip()
        self._child = None
        for part in self._seals.path(0).parent.glob(f"{PART}*"):
            part.unlink(missing_ok=True)
        if child.returncode and not self._stopped:
            return TROUBLE.format(why=said.splitlines()[-1] if said else f"status {child.returncode}")
        if len(jobs) > MOST_AT_ONCE:
            self._awaited[jobs[MOST_AT_ONCE]] = MOST_LOOKS
        return ""
