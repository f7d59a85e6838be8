"""A job as a file: a recording that can be replayed, or a table."""

import csv
import gzip
import io
import math
from collections.abc import Callable
from pathlib import Path

import pytest
import zstandard

from daemon.errors import ExportFailed, NoSuch, StoreUnfit
from daemon.export import COLUMNS, export
from daemon.store import Store
from daemon.store.items import JobEnded, JobStarted
from sensors import recording
from sensors.types import CHANNELS, HEATSINK, KEY, Frame

MakeFrame = Callable[..., Frame]
MakeJob = Callable[..., JobStarted]


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
