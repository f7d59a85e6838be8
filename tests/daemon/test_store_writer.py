"""The writer between the safety loop and a disk that is slow, locked, full, or gone with the daemon."""

import json
import random
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from daemon.errors import StoreBehind, StoreBusy
from daemon.store import Reader, Store
from daemon.store.batch import Batch
from daemon.store.catalog import CatalogWriter
from daemon.store.frames import FrameReader, FrameWriter
from daemon.store.items import JobEnded, JobStarted
from daemon.store.reader import CATALOG, FRAMES
from daemon.store.writer import MORE_ENTRIES, Writer
from sensors.types import Frame

MakeFrame = Callable[..., Frame]
MakeJob = Callable[..., JobStarted]


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Another program holds the file for writing."""
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield


def until(true: Callable[[], bool], timeout_s: float = 20.0) -> None:
    """Wait for the writer's thread to come to something."""
    end = time.monotonic() + timeout_s
    while not true():
        assert time.monotonic() < end, "did not come to it"
        time.sleep(0.005)


def seqs(store: Reader, bay: str = "bay-1") -> list[int]:
    """The pack numbers that are kept."""
    return [frame.seq for frame in store.frames(bay, 0, 2**62)]


@pytest.mark.parametrize("name", [FRAMES, CATALOG])
def test_a_locked_file_holds_nobody_up_and_costs_nothing(
    store: Store, tmp_path: Path, frame_at: MakeFrame, job_at: MakeJob, name: str
) -> None:
    """Items wait in memory, the error tells, and all are kept once the file is free; putting never waits."""
    with locked(tmp_path / "data" / name):
        store.put(job_at(1))
        slowest_s = 0.0
        for t in range(200):
            start = time.perf_counter()
            store.put(frame_at(t))
            slowest_s = max(slowest_s, time.perf_counter() - start)
        until(lambda: "locked" in store.error)
        assert store.behind == 201
        with pytest.raises(StoreBehind, match="locked") as caught:
            store.flush(0.1)
        assert caught.value.waiting >= 201
        # the file stays locked for the whole of it, so a put that waited for it would take a second
        assert slowest_s < 0.5
    store.flush()
    assert (store.error, store.behind, store.dropped) == ("", 0, 0)
    assert seqs(store) == list(range(200))
    assert [f.seq for f in store.job_frames(1)] == list(range(200))


def test_when_no_more_can_wait_new_frames_are_dropped_counted_and_told(
    tmp_path: Path, frame_at: MakeFrame, job_at: MakeJob
) -> None:
    """Memory stays bounded; a verdict still finds room; what was lost stays told after the disk is back."""
    with Store(tmp_path, most_waiting=50, commit_s=0.02) as store:
        with locked(tmp_path / FRAMES):
            store.put(job_at(1))
            for t in range(80):
                store.put(frame_at(t))
            store.put(JobEnded(1, frame_at(80).time_ns, "incomplete", ["gaps"], {}))
            assert store.behind == 51
            assert store.dropped == 31
            assert "31 readings came when no more could wait, and are lost" in store.error
        store.flush()
        assert seqs(store) == list(range(49))
        assert store.job(1).verdict == "incomplete"
        assert "31 readings" in store.error
        assert store.behind == 0


def test_room_for_jobs_and_findings_is_bounded_too(tmp_path: Path, job_at: MakeJob) -> None:
    """Nothing that can be put grows without end."""
    with Store(tmp_path, most_waiting=0, commit_s=60.0) as store:
        for _ in range(MORE_ENTRIES + 5):
            store.put(job_at(1))
        assert (store.behind, store.dropped) == (MORE_ENTRIES, 5)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real disk of one megabyte."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = shutil.which("mount")
    if (
        mount is None
        or subprocess.run(
            [mount, "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)], capture_output=True, check=False
        ).returncode
    ):
        pytest.skip("mounting a small disk takes root; the test with a bounded file says the same")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def test_a_full_disk_loses_nothing_that_was_kept_or_waits(
    small_disk: Path, frame_at: MakeFrame, job_at: MakeJob
) -> None:
    """The error tells; readers go on; when room is made everything is kept, in order, without a hole."""
    ballast = small_disk / "ballast"
    ballast.write_bytes(b"x" * 500_000)
    with Store(small_disk, commit_s=0.02) as store:
        store.put(job_at(1))
        t = 0
        while "full" not in store.error:
            assert t < 20_000, "the disk never filled"
            for _ in range(50):
                store.put(frame_at(t))
                t += 1
            until(lambda: store.behind == 0 or bool(store.error))
        kept = seqs(store)
        assert kept == list(range(len(kept)))
        assert len(kept) >= 100
        for _ in range(50):
            store.put(frame_at(t))
            t += 1
        assert store.behind > 50
        ballast.unlink()
        store.flush()
        assert (store.error, store.behind, store.dropped) == ("", 0, 0)
        assert seqs(store) == list(range(t))
        assert len(list(store.job_frames(1))) == t


def test_a_file_that_may_not_grow_loses_nothing_that_was_kept_or_waits(tmp_path: Path, frame_at: MakeFrame) -> None:
    """The same where no small disk can be mounted: SQLite's own bound gives the same error as a full disk."""
    frames, reader = FrameWriter(tmp_path / FRAMES), FrameReader(tmp_path / FRAMES)
    frames._db.execute("PRAGMA max_page_count = 20")
    writer = Writer(Batch(frames, CatalogWriter(tmp_path / CATALOG)), commit_s=0.02)
    for t in range(1000):
        writer.put(frame_at(t))
    until(lambda: "full" in writer.error)
    # on a slow machine the first of them were on disk before the last had come
    waiting = 1000 - len(list(reader.frames("bay-1", 0, 2**62)))
    assert waiting > 0
    assert writer.behind == waiting
    assert f"{waiting} wait in memory" in writer.error
    # any thread may set the bound, as the writer's tries come and go
    until(lambda: _lift_bound(frames))
    writer.flush(10)
    assert (writer.error, writer.behind) == ("", 0)
    assert [f.seq for f in reader.frames("bay-1", 0, 2**62)] == list(range(1000))
    writer.close(10)


def _lift_bound(frames: FrameWriter) -> bool:
    try:
        frames._db.execute("PRAGMA max_page_count = 100000")
    except sqlite3.OperationalError:
        return False
    return True


def test_closing_keeps_what_waits(tmp_path: Path, frame_at: MakeFrame) -> None:
    """Also when it was put an instant before; what comes after is counted."""
    store = Store(tmp_path, commit_s=60.0)
    for t in range(500):
        store.put(frame_at(t))
    store.close()
    store.close()
    store.put(frame_at(500))
    assert store.dropped == 1
    assert seqs(Reader(tmp_path)) == list(range(500))


def test_closing_on_a_disk_that_takes_nothing_says_how_much_is_lost(tmp_path: Path, frame_at: MakeFrame) -> None:
    """An error, never silence; and the folder is free for the next."""
    store = Store(tmp_path, commit_s=0.02)
    with locked(tmp_path / FRAMES):
        for t in range(5):
            store.put(frame_at(t))
        with pytest.raises(StoreBehind, match="locked") as caught:
            store.close()
        assert caught.value.waiting == 5
    Store(tmp_path).close()


def test_one_folder_has_one_writer_and_any_number_of_readers(tmp_path: Path, frame_at: MakeFrame) -> None:
    """A second daemon is refused by name, and does not end the first one's jobs; a reader is welcome."""
    with Store(tmp_path) as store:
        with pytest.raises(StoreBusy) as caught:
            Store(tmp_path)
        assert caught.value.folder == tmp_path
        store.put(frame_at(1))
        store.flush()
        assert seqs(Reader(tmp_path)) == [1]
    Store(tmp_path).close()


def test_readers_in_many_threads_see_whole_commits_while_frames_come_in(
    store: Store, frame_at: MakeFrame, job_at: MakeJob
) -> None:
    """Curves, frames and jobs from four threads beside the writer: no error, and never a hole."""
    store.put(job_at(1))
    stop, wrong = threading.Event(), list[str]()

    def read() -> None:
        try:
            while not stop.is_set():
                have = seqs(store)
                if have != list(range(len(have))):
                    wrong.append(f"a hole in {have[-5:]}")
                store.jobs()
                store.curves(1) if store.jobs() else None
        except Exception as err:  # noqa: BLE001  whatever it is, the test must tell it
            wrong.append(repr(err))

    threads = [threading.Thread(target=read) for _ in range(4)]
    store.flush()
    for thread in threads:
        thread.start()
    for t in range(600):
        store.put(frame_at(t))
        if t % 20 == 0:
            store.flush()
    stop.set()
    for thread in threads:
        thread.join()
    store.flush()
    assert wrong == []
    assert store.curves(1).frames == 600


def test_what_is_put_is_on_disk_within_a_second_unasked(tmp_path: Path, frame_at: MakeFrame) -> None:
    """With the interval that the daemon uses."""
    with Store(tmp_path) as store:
        store.put(frame_at(1))
        start = time.monotonic()
        until(lambda: seqs(store) == [1])
        assert time.monotonic() - start < 1.0


KILLED = """
import json, sys, time
from pathlib import Path
from daemon.store import Store
from daemon.store.items import JobStarted
from sensors.types import CHANNELS, Frame
store = Store(Path(sys.argv[1]))
start_ns, start_s = time.time_ns(), time.monotonic()
store.put(JobStarted(store.next_job(), "J-1", "MR-25 no. 014", "bay-1", "p", "", {}, start_ns, start_s))
seq = 0
while True:
    now_s = time.monotonic()
    store.put(Frame("bay-1", start_ns + seq, now_s, seq, (1.0,) * len(CHANNELS), bytes(len(CHANNELS))))
    print(json.dumps([seq, now_s]), flush=True)
    seq += 1
    time.sleep(0.002)
"""


@pytest.mark.parametrize("round_", range(3))
def test_a_daemon_killed_at_any_instant_has_kept_all_older_than_a_second(tmp_path: Path, round_: int) -> None:
    """A real process, kill -9 at a random frame; and its job is then incomplete, not running for ever."""
    last_wanted = random.randint(600, 1000)
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path)], stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]
    ) as child:
        assert child.stdout is not None
        put: list[tuple[int, float]] = []
        try:
            for line in child.stdout:
                seq, put_s = json.loads(line)
                put.append((seq, put_s))
                if seq >= last_wanted:
                    break
        finally:
            child.kill()
        killed_s = time.monotonic()
        child.stdout.read()
    with Store(tmp_path) as store:
        kept = seqs(store)
        assert kept == list(range(len(kept)))
        older = [seq for seq, put_s in put if put_s < killed_s - 1.0]
        assert older
        assert len(kept) > older[-1]
        assert [f.seq for f in store.job_frames(1)] == kept
        assert store.job(1).verdict == "incomplete"
        assert "stopped in mid-soak" in store.job(1).reasons[0]
