"""A job as a file: a recording that can be replayed, or a table."""

import csv
import gzip
import io
import itertools
import math
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas
import pyarrow.parquet as pq
import pytest
import zstandard

from daemon.errors import ExportFailed, NoSuch, StoreUnfit
from daemon.export import Form, export, pieces
from daemon.store import Reader, Store
from daemon.store.items import JobEnded, JobStarted
from daemon.table import COLUMNS
from daemon.verify import verify
from sensors import recording
from sensors.types import CHANNELS, HEATSINK, KEY, Frame

MakeFrame = Callable[..., Frame]
MakeJob = Callable[..., JobStarted]


def wait_until(true: Callable[[], bool]) -> None:
    """Wait for the sealer's thread."""
    end_s = time.monotonic() + 60  # sealing goes behind all else
    while not true():
        assert time.monotonic() < end_s
        time.sleep(0.01)


@pytest.fixture
def kept(tmp_path: Path, frame_at: MakeFrame, job_at: MakeJob) -> list[Frame]:
    """The frames of job 2 in the store at tmp_path, where other frames are too."""
    frames = [
        frame_at(t / 2, heatsink=None if t == 4 else 20.0 + t / 3, reflected=0.05, key=float(t % 2)) for t in range(50)
    ]
    with Store(tmp_path) as store:
        store.put(frame_at(-1))
        store.put(job_at(2))
        for frame in frames:
            store.put(frame)
        store.put(JobEnded(2, frames[-1].time_ns, "pass", [], {}))
        store.put(frame_at(30))
    return frames


@pytest.mark.parametrize("name", ["job.jsonl", "job.gz", "job.jsonl.zst"])
def test_a_recording_gives_back_the_frames_of_the_job_and_no_other(
    tmp_path: Path, kept: list[Frame], name: str
) -> None:
    """Every value to the last digit, packed as the name says; times to the microsecond."""
    assert export(tmp_path, 2, tmp_path / name) == len(kept)
    back = list(recording.read(tmp_path / name))
    assert [f.bay for f in back] == ["bay-1"] * len(kept)
    assert [f.seq for f in back] == [f.seq for f in kept]
    assert max(abs(a.time_ns - b.time_ns) for a, b in zip(back, kept, strict=True)) <= 1000
    for a, b in zip(back, kept, strict=True):
        assert a.quality == b.quality
        assert dict(a.present()) == dict(b.present())


def unpacked(path: Path) -> str:
    """The text of a table, however packed."""
    data = path.read_bytes()
    if path.suffix == ".gz":
        data = gzip.decompress(data)
    if path.suffix == ".zst":
        data = zstandard.ZstdDecompressor().decompressobj().decompress(data)
    return data.decode()


@pytest.mark.parametrize("name", ["job.csv", "job.csv.gz", "job.csv.zst"])
def test_a_table_has_all_channels_with_units_and_an_empty_cell_where_no_value_is(
    tmp_path: Path, kept: list[Frame], name: str
) -> None:
    """One row a frame (RFC 4180), values to the last digit, UTC (RFC 3339) and seconds since the start."""
    assert export(tmp_path, 2, tmp_path / name) == len(kept)
    head, *rows = csv.reader(io.StringIO(unpacked(tmp_path / name), newline=""))
    assert head == COLUMNS
    assert head[:3] == ["time_utc", "elapsed_s", "heatsink [Cel]"]
    assert len(head) == 2 + len(CHANNELS)
    assert len(rows) == len(kept)
    assert rows[1][:2] == ["2025-11-25T07:00:00.500000Z", "0.5"]
    for cells, frame in zip(rows, kept, strict=True):
        values = [float(cell) if cell else math.nan for cell in cells[2:]]
        assert str(values) == str(list(frame.values))
    assert rows[4][2 + HEATSINK] == ""
    assert rows[5][2 + KEY] == "1.0"


def test_a_table_is_the_same_from_the_sealed_file_and_from_the_frames(tmp_path: Path, kept: list[Frame]) -> None:
    """Byte by byte; a sealed file that was damaged is not believed."""
    with Store(tmp_path) as store:
        wait_until(lambda: store.seals.good(2) is not None)
    kept_there = Reader(tmp_path)
    texts = [b"".join(piece for piece, _ in pieces(kept_there, 2, Form.CSV))]
    sealed = kept_there.seals.path(2)
    sealed.write_bytes(sealed.read_bytes()[:-1] + b"x")
    texts.append(b"".join(piece for piece, _ in pieces(kept_there, 2, Form.CSV)))
    assert texts[0] == texts[1]
    assert texts[0].count(b"\r\n") == 1 + len(kept)


def test_a_job_or_a_store_that_is_not_there_leaves_no_file(tmp_path: Path, kept: list[Frame]) -> None:
    """And the error says which there are."""
    out = tmp_path / "out.csv"
    with pytest.raises(NoSuch) as caught:
        export(tmp_path, 9, out)
    assert caught.value.known == ["2"]
    with pytest.raises(StoreUnfit):
        export(tmp_path / "elsewhere", 2, out)
    assert not out.exists()


@pytest.mark.parametrize("name", ["out.csv", "out.zst"])
def test_a_file_that_can_not_be_written_is_named_and_what_was_there_stays(
    tmp_path: Path, kept: list[Frame], name: str
) -> None:
    """A folder that is missing; a folder where the file should go; nothing half-written is left."""
    with pytest.raises(ExportFailed, match="No such file") as caught:
        export(tmp_path, 2, tmp_path / "missing" / name)
    assert caught.value.path == tmp_path / "missing" / name
    there = tmp_path / "there" / name
    there.mkdir(parents=True)
    with pytest.raises(ExportFailed):
        export(tmp_path, 2, there)
    assert list(there.parent.iterdir()) == [there]


def test_an_export_replaces_the_earlier_one(tmp_path: Path, kept: list[Frame]) -> None:
    """The same job to the same file again gives the same file."""
    out = tmp_path / "job.gz"
    export(tmp_path, 2, out)
    first = out.read_bytes()
    export(tmp_path, 2, out)
    assert out.read_bytes() == first


def test_parquet_of_a_sealed_job_is_the_sealed_file(tmp_path: Path, kept: list[Frame]) -> None:
    """Bit by bit, so that it can be verified wherever it goes; a damaged one is not handed on."""
    with Store(tmp_path) as store:
        wait_until(lambda: store.seals.good(2) is not None)
    out = tmp_path / "out.parquet"
    sealed = Reader(tmp_path).seals.path(2)
    assert export(tmp_path, 2, out) == len(kept)
    assert out.read_bytes() == sealed.read_bytes()
    sealed.write_bytes(sealed.read_bytes()[:-1] + b"x")
    assert export(tmp_path, 2, out) == len(kept)
    assert verify(tmp_path, out).job == 2  # made anew from the readings, which give the same file


def test_parquet_of_a_job_that_is_not_sealed_has_the_same_columns(tmp_path: Path, kept: list[Frame]) -> None:
    """A running job can be looked at too."""
    with Store(tmp_path) as store:
        wait_until(lambda: store.seals.good(2) is not None)
    sealed = Reader(tmp_path).seals.path(2)
    schema = pq.read_schema(sealed)
    sealed.unlink()
    out = tmp_path / "out.parquet"
    assert export(tmp_path, 2, out) == len(kept)
    assert pq.read_schema(out).equals(schema, check_metadata=True)


def test_no_form_holds_a_whole_job_in_memory(tmp_path: Path, frame_at: MakeFrame, job_at: MakeJob) -> None:
    """Pieces come long before the end is read, none larger than a few pages."""
    with Store(tmp_path) as store:
        store.put(job_at(1))
        for t in range(9000):
            store.put(frame_at(t / 10))
        store.flush()
        for form in (Form.CSV, Form.SENML):
            sizes = [(len(piece), n) for piece, n in pieces(store, 1, form)]
            assert sizes[0][1] == 2000
            assert max(size for size, _ in sizes) < 2_000_000
            assert sizes[-1][1] == 9000


def readme_code(beginning: str) -> str:
    """The indented block of README.md that begins so."""
    lines = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8").splitlines()
    first = lines.index("    " + beginning)
    block = itertools.takewhile(lambda line: line.startswith("    "), lines[first:])
    return "\n".join(line[4:] for line in block)


def test_three_lines_of_the_readme_load_a_job_into_pandas_with_units(
    tmp_path: Path, kept: list[Frame], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Run as they stand there; and the line for CSV."""
    export(tmp_path, 2, tmp_path / "job-7.parquet")
    export(tmp_path, 2, tmp_path / "job-7.csv")
    monkeypatch.chdir(tmp_path)
    code = readme_code("import pyarrow.parquet as pq")
    assert len(code.splitlines()) == 3
    found: dict[str, Any] = {}
    exec(code, found)
    job = found["job"]
    assert list(job.columns[:4]) == ["time_ns [ns]", "at_s [s]", "seq [1]", "heatsink [Cel]"]
    assert list(job.columns[3:]) == COLUMNS[2:]
    np.testing.assert_array_equal(job["heatsink [Cel]"], [f.values[HEATSINK] for f in kept])
    table = pandas.read_csv("job-7.csv", parse_dates=["time_utc"])
    np.testing.assert_array_equal(table["heatsink [Cel]"], job["heatsink [Cel]"])
    assert str(table["time_utc"][0]) == "2025-11-25 07:00:00+00:00"


def test_the_readme_s_example_draws_two_jobs(
    tmp_path: Path, kept: list[Frame], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Run as it stands there, without a screen."""
    for name in ("job-6", "job-7"):
        export(tmp_path, 2, tmp_path / f"{name}.parquet")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MPLBACKEND", "svg")
    exec(readme_code("import matplotlib.pyplot as plt"), {})
    assert "<svg" in (tmp_path / "two-jobs.svg").read_text()
