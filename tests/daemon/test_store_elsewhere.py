"""The store written by a process of its own: nothing is lost or kept twice, whichever of the two is killed."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import msgspec
import pytest
import sqlalchemy as sa

from alerts.types import Finding
from daemon.store import Reader, Store
from daemon.store.catalog import CatalogReader
from daemon.store.items import AlertChanged, AlertKept, FindingKept, Item, JobEnded, JobStarted
from daemon.store.reader import CATALOG, FRAMES
from daemon.store.tables import ALERT_CHANGE
from sensors.types import Frame
from tests.daemon.test_store_writer import locked, seqs, until

MakeFrame = Callable[..., Frame]
MakeJob = Callable[..., JobStarted]
MakeFinding = Callable[..., Finding]


@pytest.fixture
def apart(tmp_path: Path) -> Iterator[Store]:
    """A store as the daemon has it."""
    with Store(tmp_path / "data", commit_s=0.02, serving=True) as store:
        yield store


def writer_of(folder: Path) -> int:
    """The process that writes ``folder``."""
    mine = f"/proc/{os.getpid()}/task"
    for task in os.listdir(mine):
        for child in Path(mine, task, "children").read_text().split():
            words = Path("/proc", child, "cmdline").read_bytes().split(b"\0")
            if b"daemon.store.writing" in words and str(folder).encode() in words:
                return int(child)
    raise AssertionError("nobody writes")


def change(number: int, time_ns: int) -> AlertChanged:
    """One change in the life of an alert."""
    alert = AlertKept(
        7, "bay-1", "supply", "", "warning", "unacknowledged", "unacknowledged", 1, None, time_ns, None, None, "low",
        11.0, 12.0, "V",
    )  # fmt: skip
    return AlertChanged(number, alert, time_ns, "raised", True, "low")


def test_all_kinds_of_items_come_back_as_they_were_put(
    apart: Store, frame_at: MakeFrame, job_at: MakeJob, finding_at: MakeFinding
) -> None:
    """Through the pipe and the disk; nan stays nan, and what no disk would take costs no other."""
    apart.put(job_at(1))
    apart.put(msgspec.structs.replace(job_at(2, bay="bay-2"), unit="\ud800"))
    apart.put(FindingKept(1, 1.0, finding_at(1.0, "kept")))
    far, odd = frame_at(3), frame_at(4)
    far.time_ns, odd.seq = 2**70, 2**64 - 1
    for frame in (frame_at(1), frame_at(2), far, odd):
        apart.put(frame)
    apart.put(change(1, 5))
    apart.put(JobEnded(1, 10**18, "incomplete", ["gaps"], {"heatsink_max_c": float("nan")}))
    apart.flush()
    assert [job.job for job in apart.jobs()] == [1]
    assert [tag.text for tag in apart.findings(1)] == ["kept"]
    expected = [frame_at(1), frame_at(2)]
    found = list(apart.job_frames(1))
    assert [f.seq for f in found] == [1, 2]
    assert [repr(f.values) for f in found] == [repr(f.values) for f in expected]
    assert [one.id for one in apart.alerts.open()] == [7]
    assert (apart.dropped, apart.behind) == (3, 0)
    assert "3 readings could not be kept" in apart.error


@pytest.mark.parametrize("name", [FRAMES, CATALOG])
def test_a_locked_file_is_told_by_its_reason_and_costs_nothing(
    apart: Store, tmp_path: Path, frame_at: MakeFrame, job_at: MakeJob, name: str
) -> None:
    """The reason comes over the pipe; all are kept once the file is free."""
    apart.flush()
    with locked(tmp_path / "data" / name):
        apart.put(job_at(1))
        for t in range(200):
            apart.put(frame_at(t))
        until(lambda: "locked" in apart.error)
        assert apart.behind == 201
    apart.flush()
    assert (apart.error, apart.behind, apart.dropped) == ("", 0, 0)
    assert [f.seq for f in apart.job_frames(1)] == list(range(200))


def test_a_killed_writer_is_started_again_and_nothing_is_lost_or_kept_twice(
    apart: Store, tmp_path: Path, frame_at: MakeFrame, job_at: MakeJob, finding_at: MakeFinding
) -> None:
    """Killed while a soak is under way: its span, its buckets and its findings are one of the whole."""
    folder = tmp_path / "data"
    apart.put(job_at(1))
    total = 0
    for _ in range(2):
        apart.flush()
        before = writer_of(folder)
        for t in range(total, total + 300):
            apart.put(frame_at(t))
            apart.put(FindingKept(1, float(t), finding_at(float(t), f"number {t}")))
            apart.put(change(t + 1, t))
            if t == total + 150:
                # it has part of it on its hands, kept and told or not
                os.kill(before, signal.SIGKILL)
        total += 300
        apart.flush()
        assert writer_of(folder) != before
    assert (apart.error, apart.behind, apart.dropped) == ("", 0, 0)
    assert [f.seq for f in apart.job_frames(1)] == list(range(total))
    assert [tag.text for tag in apart.findings(1)] == [f"number {t}" for t in range(total)]
    rows = CatalogReader(folder / CATALOG).ask(sa.select(ALERT_CHANGE.c.id).order_by(ALERT_CHANGE.c.id))
    assert [row["id"] for row in rows] == list(range(1, total + 1))
    assert apart.curves(1).frames == total


def test_what_was_kept_before_and_is_sent_anew_is_kept_once(
    tmp_path: Path, frame_at: MakeFrame, job_at: MakeJob, finding_at: MakeFinding
) -> None:
    """The writer dies between keeping and saying so: the next one is given the very same again."""
    from daemon.store.batch import Batch
    from daemon.store.catalog import CatalogWriter
    from daemon.store.frames import FrameWriter

    Store(tmp_path).close()
    items: list[Item] = [
        job_at(1),
        FindingKept(1, 1.0, finding_at(1.0, "once")),
        change(1, 5),
        *map(frame_at, range(50)),
    ]
    for again in (False, True):
        frames = FrameWriter(tmp_path / FRAMES, alone=not again)
        with closing(Batch(frames, CatalogWriter(tmp_path / CATALOG), again=again)) as batch:
            batch.take(items)
            batch.commit()
            assert batch.unfit == 0
    kept = Reader(tmp_path)
    assert [tag.text for tag in kept.findings(1)] == ["once"]
    assert [f.seq for f in kept.job_frames(1)] == list(range(50))
    assert len(kept.alerts.changes([7])[7]) == 1


HANDED_OVER = """
import os, signal, sys, time
from pathlib import Path
from daemon.store import Store
from sensors.types import CHANNELS, Frame
store = Store(Path(sys.argv[1]), commit_s=0.02, serving=True)
for seq in range(20000):
    store.put(Frame("bay-1", 10**18 + seq, float(seq), seq, (1.0,) * len(CHANNELS), bytes(len(CHANNELS))))
while store.behind > 10000:
    time.sleep(0.0005)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_what_a_killed_daemon_had_handed_over_is_kept_and_the_next_one_waits_for_it(tmp_path: Path) -> None:
    """The writer ends by itself, after its last commit; whoever opens the folder sees whole batches."""
    done = subprocess.run(
        [sys.executable, "-c", HANDED_OVER, str(tmp_path)], cwd=Path(__file__).parents[2], check=False, timeout=60
    )
    assert done.returncode == -signal.SIGKILL
    with Store(tmp_path) as store:
        kept = seqs(store)
    assert kept == list(range(len(kept)))
    assert len(kept) >= 10_000
