"""The process that seals jobs: ``python -m daemon.store.sealing FOLDER JOB ...``; one JobSealed a line as each is done.

A file is whole under its name or not there: written under another, synchronised, renamed. The catalog, which the
daemon writes, comes after that.
"""

import os
import sys
import threading
import time
from pathlib import Path

import msgspec

from daemon.errors import DaemonError
from daemon.priority import LAST_NICE, step_back
from daemon.store.items import JobSealed
from daemon.store.reader import Reader
from daemon.store.seals import PART, digest


def seal(folder: Path, job: int) -> JobSealed:
    """Write the sealed file of a job; raises OSError, StoreUnfit, NoSuch."""
    store, frames = Reader(folder), 0
    path = store.seals.path(job)
    path.parent.mkdir(exist_ok=True)
    part = path.with_name(f"{PART}{os.getpid()}-{path.name}")
    try:
        with part.open("wb") as file:
            for piece, so_far in store.parquet(job):
                file.write(piece)
                frames = so_far
            file.flush()
            os.fsync(file.fileno())
        sha256, size = digest(part)
        part.replace(path)
        _sync(path.parent)
    finally:
        part.unlink(missing_ok=True)
    return JobSealed(job, sha256, size, frames, time.time_ns())


def _sync(folder: Path) -> None:
    # the name is on the disk too before the catalog says so
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _end_with_the_daemon() -> None:
    sys.stdin.read()
    os._exit(1)


def main(folder: Path, jobs: list[int]) -> int:
    """Seal these jobs; gives the exit status."""
    step_back(LAST_NICE)
    threading.Thread(target=_end_with_the_daemon, daemon=True).start()
    try:
        for job in jobs:
            sys.stdout.write(msgspec.json.encode(seal(folder, job)).decode() + "\n")
            sys.stdout.flush()
    except (OSError, DaemonError) as err:
        sys.stderr.write(f"{err}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), [int(word) for word in sys.argv[2:]]))
