"""Finished jobs sealed: each one file, whole or not there, whose digest the catalog has."""

import hashlib
import json
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from alerts.types import Finding
from daemon.errors import SealBroken, SealUnknown
from daemon.store import Reader, Store
from daemon.store.items import FindingKept, JobEnded, JobSealed, JobStarted
from daemon.store.parquet import COLUMNS, FACTS
from daemon.store.seals import FOLDER, digest
from daemon.verify import verify
from sensors.types import CHANNELS, UNITS, Frame

MakeFrame = Callable[..., Frame]
MakeJob = Callable[..., JobStarted]


def until(true: Callable[[], object], timeout_s: float = 60.0) -> None:
    """Wait for the sealer's thread to come to something."""
    end_s = time.monotonic() + timeout_s
    while not true():
        assert time.monotonic() < end_s, "did not come to it"
        time.sleep(0.01)


@pytest.fixture(scope="module")
def frames(frame_at: MakeFrame) -> list[Frame]:
    """A soak of five minutes with digits, a missing value and a node that counts no packs for a while."""
    made = [frame_at(t / 2, heatsink=None if t == 7 else 20 + t / 7, reflected=0.1 / 3) for t in range(600)]
    made[9].seq = -1
    return made


@pytest.fixture(scope="module")
def sealed_once(
    tmp_path_factory: pytest.TempPathFactory,
    frames: list[Frame],
    job_at: MakeJob,
    finding_at: Callable[[float], Finding],
) -> Path:
    """The folder of a store with job 1 ended and sealed, and job 2 running."""
    folder = tmp_path_factory.mktemp("sealed")
    with Store(folder, commit_s=0.01) as store:
        store.put(job_at(1))
        for frame in frames:
            store.put(frame)
        store.put(FindingKept(1, 12.5, finding_at(12.5)))
        store.put(JobEnded(1, frames[-1].time_ns, "pass", ["all in order"], {"heatsink_max_c": 105.5}))
        store.put(job_at(2, bay="bay-2"))
        until(lambda: store.jobs() and store.job(1).sealed_sha256)
        assert store.job(2).sealed_sha256 is None
        assert store.error == ""
    return folder


@pytest.fixture
def sealed(sealed_once: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    return Path(shutil.copytree(sealed_once, tmp_path / "data"))


def sealed_file(folder: Path, job: int = 1) -> Path:
    """Where it is."""
    return folder / FOLDER / f"job-{job}.parquet"


def test_a_job_is_sealed_when_it_ends_and_the_catalog_has_its_digest(sealed: Path) -> None:
    """SHA-256 of the file as another reader reckons it; one file, of the job that ended."""
    path = sealed_file(sealed)
    assert Reader(sealed).job(1).sealed_sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert list(path.parent.iterdir()) == [path]
    assert [job.sealed_sha256 is None for job in Reader(sealed).jobs()] == [True, False]


def test_a_sealed_file_has_every_reading_to_the_last_bit_with_units(sealed: Path, frames: list[Frame]) -> None:
    """The contract's columns, null where no value is; the unit of each in its field's metadata."""
    table = pq.read_table(sealed_file(sealed))
    assert table.column_names == list(COLUMNS) == ["time_ns", "at_s", "seq", *CHANNELS]
    units = {field.name: field.metadata[b"unit"].decode() for field in table.schema}
    assert units == {"time_ns": "ns", "at_s": "s", "seq": "1"} | UNITS
    assert table["time_ns"].to_pylist() == [f.time_ns for f in frames]
    assert table["at_s"].to_pylist() == [t / 2 for t in range(600)]
    assert table["seq"].to_pylist() == [None if f.seq < 0 else f.seq for f in frames]
    for at, name in enumerate(CHANNELS):
        values = [f.values[at] for f in frames]
        assert table[name].to_pylist() == [None if np.isnan(v) else v for v in values]


def test_a_sealed_file_says_which_job_it_is_and_how_it_went(sealed: Path) -> None:
    """Facts in the file's metadata, so that it needs no other file to be understood."""
    facts = json.loads(pq.read_schema(sealed_file(sealed)).metadata[FACTS.encode()])
    assert (facts["job"], facts["number"], facts["unit"], facts["bay"]) == (1, "J-1", "MR-25 no. 014", "bay-1")
    assert (facts["verdict"], facts["reasons"], facts["figures"]) == (
        "pass",
        ["all in order"],
        {"heatsink_max_c": 105.5},
    )
    assert facts["plan_text"].startswith("[[phase]]")
    assert facts["limits"] == {"heatsink_c": 75.0}
    assert [finding["text"] for finding in facts["findings"]] == ["heatsink 76.0 °C, limit 75.0 °C"]


def test_a_true_copy_is_known_under_any_name(sealed: Path, tmp_path: Path) -> None:
    """By its digest alone."""
    copy = tmp_path / "anything"
    copy.write_bytes(sealed_file(sealed).read_bytes())
    seal = verify(sealed, copy)
    assert (seal.job, seal.frames, seal.bytes) == (1, 600, copy.stat().st_size)


@pytest.mark.parametrize("where", [0, 4, 0.1, 0.5, 0.9, -40, -6, -1])
def test_a_flipped_bit_is_found_wherever_it_is(sealed: Path, tmp_path: Path, where: float) -> None:
    """In the marks at both ends, in the readings, in the footer with the facts."""
    data = bytearray(sealed_file(sealed).read_bytes())
    at = int(where * len(data)) if isinstance(where, float) else where
    data[at] ^= 1
    copy = tmp_path / "copy of job-1.parquet"
    copy.write_bytes(data)
    with pytest.raises(SealBroken, match="job 1: something in it was changed") as caught:
        verify(sealed, copy)
    assert (caught.value.job, caught.value.found) == (1, hashlib.sha256(data).hexdigest())
    assert caught.value.sealed == Reader(sealed).job(1).sealed_sha256


@pytest.mark.parametrize("cut", [0, 10, 1000])
def test_a_file_cut_short_is_found(sealed: Path, tmp_path: Path, cut: int) -> None:
    """Also when nothing is left but its name."""
    copy = tmp_path / "job-1.parquet"
    copy.write_bytes(sealed_file(sealed).read_bytes()[:cut])
    with pytest.raises(SealBroken):
        verify(sealed, copy)


def test_of_a_file_that_is_no_job_of_ours_nothing_is_said(sealed: Path, tmp_path: Path) -> None:
    """A text, a job that is not sealed, a file that is not there: why is told, and none is called changed."""
    (tmp_path / "letter.txt").write_text("dear all")
    (tmp_path / "job-2.parquet").write_bytes(b"x")
    for name, why in (("letter.txt", "of no job"), ("job-2.parquet", "nothing is sealed"), ("gone", "No such file")):
        with pytest.raises(SealUnknown, match=why):
            verify(sealed, tmp_path / name)


def test_jobs_that_an_earlier_run_did_not_seal_are_sealed_at_the_start(sealed: Path) -> None:
    """A file that is lost, and a job that a killed daemon left running; the same readings give the same file."""
    before = Reader(sealed).job(1).sealed_sha256
    sealed_file(sealed).unlink()
    with Store(sealed, commit_s=0.01) as store:
        until(lambda: store.job(2).sealed_sha256 and sealed_file(sealed).is_file())
        assert store.job(1).sealed_sha256 == before
        assert verify(sealed, sealed_file(sealed)).job == 1
        assert verify(sealed, sealed_file(sealed, 2)).frames == 0


def test_a_file_that_was_sealed_before_stays_known_when_the_job_is_sealed_anew(sealed: Path, tmp_path: Path) -> None:
    """Another version may write other bytes: the copy that a customer has is still what was sealed."""
    copy = tmp_path / "copy"
    copy.write_bytes(sealed_file(sealed).read_bytes())
    sealed_file(sealed).unlink()
    with Store(sealed, commit_s=0.01) as store:
        until(lambda: sealed_file(sealed).is_file())
        store.flush()
        other = tmp_path / "other"
        other.write_bytes(b"other bytes")
        store.put(JobSealed(1, digest(other)[0], 11, 600, time.time_ns() + 10**9))
        store.flush()
        assert store.job(1).sealed_sha256 == digest(other)[0]
        assert verify(sealed, copy).job == 1


def test_a_disk_that_takes_no_file_is_told_and_loses_nothing(
    tmp_path: Path, frame_at: MakeFrame, job_at: MakeJob
) -> None:
    """What stands where the folder should be; the next run seals."""
    (tmp_path / FOLDER).write_text("no folder")
    with Store(tmp_path, commit_s=0.01) as store:
        store.put(job_at(1))
        store.put(frame_at(1))
        store.put(JobEnded(1, frame_at(1).time_ns, "pass", [], {}))
        until(lambda: "can't be sealed" in store.error)
        assert store.job(1).sealed_sha256 is None
    (tmp_path / FOLDER).unlink()
    with Store(tmp_path, commit_s=0.01) as store:
        until(lambda: store.job(1).sealed_sha256)
        assert store.error == ""


KILLED = """
import signal, sys
from pathlib import Path
from daemon.store import parquet, sealing
pieces = parquet.pieces
def slow(*words):
    for piece in pieces(*words):
        yield piece
        print("piece", flush=True)
        signal.pause()
parquet.pieces = slow
sealing.main(Path(sys.argv[1]), [1])
"""


@pytest.fixture
def unsealed(sealed: Path) -> Path:
    """The same store with its file lost."""
    sealed_file(sealed).unlink()
    return sealed


def test_a_kill_in_the_middle_of_sealing_leaves_no_half_of_a_file_under_its_name(unsealed: Path) -> None:
    """kill -9 in the middle: nothing there; the next run has it whole and clears away what was begun."""
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(unsealed)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    ) as child:
        assert child.stdout is not None
        try:
            assert child.stdout.readline() == "piece\n"
        finally:
            child.send_signal(signal.SIGKILL)
    assert [p.name for p in (unsealed / FOLDER).iterdir()] == [f".part-{child.pid}-job-1.parquet"]
    with Store(unsealed, commit_s=0.01):
        until(sealed_file(unsealed).exists)
        until(sealed_file(unsealed, 2).exists)
        assert verify(unsealed, sealed_file(unsealed)).frames == 600
    assert sorted(p.name for p in (unsealed / FOLDER).iterdir()) == ["job-1.parquet", "job-2.parquet"]


def test_what_seals_ends_with_the_daemon(unsealed: Path) -> None:
    """However that ends: nobody is left who writes into the folder of the next run."""
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(unsealed)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    ) as child:
        assert child.stdout is not None
        assert child.stdin is not None
        assert child.stdout.readline() == "piece\n"
        child.stdin.close()
        assert child.wait(10) == 1


def test_closing_does_not_wait_for_a_long_job(unsealed: Path) -> None:
    """It is left to the next run."""
    started_s = time.monotonic()
    Store(unsealed).close()
    assert time.monotonic() - started_s < 5
    assert not list((unsealed / FOLDER).glob(".part*"))
