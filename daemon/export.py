"""A kept job in a form that other programs read: a recording (SenML packs, the contract), a CSV table, or Parquet.

Every form is made piece by piece, so that memory grows with none, whether it goes to a file or over the API.
"""

import gzip
import os
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from enum import StrEnum
from itertools import islice
from pathlib import Path
from typing import IO

import zstandard

from daemon.errors import ExportFailed
from daemon.store import Reader
from daemon.table import csv_pieces
from sensors.recording import packed
from sensors.types import Frame

#: frames a piece of text: half a megabyte
_PAGE = 2000
_COPY_BYTES = 1 << 20

#: a piece of a file, and how many frames are in the file by then
Pieces = Iterator[tuple[bytes, int]]


class Form(StrEnum):
    """What a job can be exported as."""

    CSV = "csv"
    PARQUET = "parquet"
    SENML = "senml"


def export(folder: Path, job: int, path: Path) -> int:
    """Write a job of the store in ``folder`` to ``path``: as CSV or Parquet where its name says so, else a recording.

    A last ending ``.gz`` or ``.zst`` packs it; the same job gives the same file. Gives the number of readings. A file
    that was there is replaced whole or not at all. Raises StoreUnfit, NoSuch, ExportFailed.
    """
    found = pieces(Reader(folder), job, form_of(path))
    n = 0
    with whole(path) as part, _opened(part) as out:
        for piece, n in found:  # noqa: B007  the last one counts
            out.write(piece)
    return n


def form_of(path: Path) -> Form:
    """The form that a file's name asks for."""
    endings = [ending for ending in path.suffixes if ending not in (".gz", ".zst")]
    return {".csv": Form.CSV, ".parquet": Form.PARQUET}.get(endings[-1] if endings else "", Form.SENML)


def pieces(store: Reader, job: int, form: Form) -> Pieces:
    """A job in one form, piece by piece; raises NoSuch at once, and StoreUnfit also later.

    CSV (RFC 4180) has a row a frame and an empty cell where a channel has no value. The Parquet file of a sealed job
    is the sealed one, byte by byte.
    """
    if form is Form.CSV:
        return csv_pieces(store.readings(job), store.zero_ns(job))
    if form is Form.SENML:
        return _senml(store.job_frames(job))
    sealed = store.seals.good(job)
    return store.parquet(job) if sealed is None else _copied(sealed, store.seals.of(job, job)[job].frames)


def _senml(frames: Iterable[Frame]) -> Pieces:
    n = 0
    for page in _pages(frames):
        n += len(page)
        yield b"".join([packed(frame) + b"\n" for frame in page]), n


def _copied(path: Path, frames: int) -> Pieces:
    with path.open("rb") as file:
        while piece := file.read(_COPY_BYTES):
            yield piece, frames


def _pages(frames: Iterable[Frame]) -> Iterator[list[Frame]]:
    left = iter(frames)
    while page := list(islice(left, _PAGE)):
        yield page


@contextmanager
def _opened(path: Path) -> Iterator[IO[bytes] | gzip.GzipFile | zstandard.ZstdCompressionWriter]:
    with ExitStack() as files:
        raw = files.enter_context(path.open("wb"))
        out: IO[bytes] | gzip.GzipFile | zstandard.ZstdCompressionWriter = raw
        if path.suffix == ".gz":
            # no name and no time in the header: the same frames give the same file
            out = files.enter_context(gzip.GzipFile("", "wb", fileobj=raw, mtime=0))
        elif path.suffix == ".zst":
            out = files.enter_context(zstandard.ZstdCompressor().stream_writer(raw, closefd=False))
        yield out


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """A file beside ``path`` to be written, which takes its place when all went well; raises ExportFailed."""
    # beside it, so that the last step is a rename; the ending stays, for it says how the file is packed
    part = path.with_name(f".part-{os.getpid()}-{path.name}")
    try:
        yield part
        part.replace(path)
    except OSError as err:
        raise ExportFailed(path, err.strerror or str(err)) from err
    finally:
        part.unlink(missing_ok=True)
