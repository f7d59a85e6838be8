"""A kept job as a file that other programs read: a recording (SenML packs, the contract) or a CSV table."""

import csv
import gzip
import io
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

import zstandard

from daemon.errors import ExportFailed
from daemon.store import Reader
from sensors.recording import Writer
from sensors.types import CHANNELS, UNITS, Frame

#: the contract's channels with the contract's units, all of them always, so that a script may count on its columns
COLUMNS = ["time_utc", "elapsed_s", *(f"{name} [{UNITS[name]}]" for name in CHANNELS)]


def export(folder: Path, job: int, path: Path) -> int:
    """Write a job of the store in ``folder`` to ``path``: as CSV where its name says so, else as a recording.

    A last ending ``.gz`` or ``.zst`` packs it. Gives the number of readings. Raises StoreUnfit, NoSuch,
    ExportFailed.
    """
    store = Reader(folder)
    endings = path.suffixes[-2:]
    packed = bool(endings) and endings[-1] in (".gz", ".zst")
    as_table = ".csv" in (endings[:-1] if packed else endings[-1:])
    return (export_csv if as_table else export_recording)(store, job, path)


def export_recording(store: Reader, job: int, path: Path) -> int:
    """Write a job as a recording that `replay` reads; gives the number of packs.

    Raises NoSuch, ExportFailed; a file that was there is replaced whole or not at all.
    """
    frames = store.job_frames(job)
    with _whole(path) as part, Writer(part) as out:
        return _each(frames, out.write)


def export_csv(store: Reader, job: int, path: Path) -> int:
    """Write a job as CSV (RFC 4180), one row a frame, an empty cell where a channel has no value; gives the rows.

    Raises NoSuch, ExportFailed; a file that was there is replaced whole or not at all.
    """
    frames, zero_ns = store.job_frames(job), store.zero_ns(job)
    with _whole(path) as part, _text(part) as file:
        out = csv.writer(file)
        out.writerow(COLUMNS)
        return _each(frames, lambda frame: out.writerow(_cells(frame, zero_ns)))


def _each(frames: Iterable[Frame], write: Callable[[Frame], object]) -> int:
    n = 0
    for frame in frames:
        write(frame)
        n += 1
    return n


def _cells(frame: Frame, zero_ns: int) -> list[object]:
    seconds, nanos = divmod(frame.time_ns, 1_000_000_000)
    utc = f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{nanos // 1000:06d}Z"
    values = ["" if v != v else v for v in frame.values]  # noqa: PLR0124  nan
    return [utc, round((frame.time_ns - zero_ns) / 1e9, 6), *values]


def _text(path: Path) -> TextIO:
    if path.suffix == ".gz":
        return io.TextIOWrapper(gzip.open(path, "wb"), encoding="utf-8", newline="")
    if path.suffix == ".zst":
        packer = zstandard.ZstdCompressor().stream_writer(path.open("wb"))
        return io.TextIOWrapper(packer, encoding="utf-8", newline="")
    return path.open("w", encoding="utf-8", newline="")


@contextmanager
def _whole(path: Path) -> Iterator[Path]:
    # beside it, so that the last step is a rename; the ending stays, for it says how the file is packed
    part = path.with_name(f".part-{os.getpid()}-{path.name}")
    try:
        yield part
        part.replace(path)
    except OSError as err:
        raise ExportFailed(path, err.strerror or str(err)) from err
    finally:
        part.unlink(missing_ok=True)
