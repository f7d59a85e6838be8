"""Whether a file is what was sealed of a job."""

import json
import re
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from daemon.errors import SealBroken, SealUnknown
from daemon.store import Reader
from daemon.store.parquet import FACTS
from daemon.store.seals import Seal, digest

_NAME = re.compile(r"job-(\d+)")
#: the facts as they stand in the file's metadata; the last of it is its end
_FACT = re.compile(rb'"job": (\d{1,12})')
_END_BYTES = 1 << 18


def verify(folder: Path, path: Path) -> Seal:
    """The seal in the catalog of the store in ``folder`` whose SHA-256 ``path`` has, whatever the file is called.

    Raises SealBroken where the file says that it is a job that was sealed otherwise, SealUnknown where nothing can be
    said, StoreUnfit.
    """
    store = Reader(folder)
    try:
        sha256, _ = digest(path)
    except OSError as err:
        raise SealUnknown(path, f"can't be read: {err.strerror}") from err
    seal = store.seals.by_digest(sha256)
    if seal is not None:
        return seal
    job = _job_of(path)
    if job is None:
        raise SealUnknown(path, "says of no job that it is its, in its name or in itself, and no job's seal fits it")
    sealed = store.seals.of(job, job).get(job)
    if sealed is None:
        raise SealUnknown(path, f"says that it is job {job}, of which nothing is sealed in {folder}")
    raise SealBroken(path, job, sealed.sha256, sha256)


def _job_of(path: Path) -> int | None:
    try:
        return int(json.loads(pq.read_schema(path).metadata[FACTS.encode()])["job"])
    except (pa.ArrowException, OSError, ValueError, KeyError, TypeError):
        # so badly changed that it is no Parquet file any more; what is left of its facts, or its name, may tell
        named = _NAME.search(path.name) or _FACT.search(_end_of(path))
        return int(named[1]) if named else None


def _end_of(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            file.seek(max(path.stat().st_size - _END_BYTES, 0))
            return file.read()
    except OSError:
        return b""
