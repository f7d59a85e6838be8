"""Buckets: kept beside the frames, always of all of them, however these come in and whatever is killed."""

import itertools
import math
import random
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, SupportsIndex

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.store import Store
from daemon.store.buckets import NEVER, SERIES, SWR, SWR_MOST, WIDTHS_NS, swr_of
from daemon.store.frames import FrameReader, FrameWriter, Span, row
from daemon.store.items import JobEnded, JobStarted
from daemon.store.pyramid import FILL_SLOTS, MOST_OPEN, Slots
from daemon.store.reader import FRAMES
from sensors.rf import swr
from sensors.types import CHANNELS, DETECTED, Frame

MakeFrame = Callable[..., Frame]
MakeJob = Callable[..., JobStarted]


def span_of(job: int, frames: Sequence[Frame]) -> Span:
    """Where the frames of a job lie."""
    times_ns = [f.time_ns for f in frames]
    return Span(job, frames[0].bay, min(times_ns), min(times_ns), max(times_ns))


def put(writer: FrameWriter, job: int, frames: Sequence[Frame], by: int = 100) -> None:
    """Write the frames of one job, so many a commit, with the span as the batch would have it."""
    for i in range(0, len(frames), by):
        writer.write([row(f, job) for f in frames[i : i + by]], [span_of(job, frames[: i + by])])


def held_to(path: Path, job: int, frames: Iterable[Frame]) -> list[int]:
    """Hold every bucket of a job to its frames, reckoned one by one; gives how many buckets a level has."""
    kept: dict[tuple[int, int], Frame] = {}
    for frame in frames:
        kept.setdefault((frame.time_ns, frame.seq), frame)  # what is there already stays
    reader, found = FrameReader(path), list[int]()
    for level, width_ns in enumerate(WIDTHS_NS):
        slots, buckets = reader.buckets(Slots(job, level, 0, 2**62), SERIES)
        by_slot: dict[int, list[Frame]] = {}
        for _, frame in sorted(kept.items()):
            by_slot.setdefault(frame.time_ns // width_ns, []).append(frame)
        ends = int(slots[-1]) + 1 if len(slots) else 0
        assert slots.tolist() == [slot for slot in by_slot if slot < ends]
        for slot, head, stats in zip(slots.tolist(), buckets.heads, buckets.stats, strict=True):
            _held(by_slot[slot], head, stats)
        found.append(len(slots))
    return found


def _held(frames: list[Frame], head: np.void, stats: np.ndarray) -> None:
    times = [f.time_ns for f in frames]
    assert (head["frames"], head["first_ns"], head["last_ns"]) == (len(frames), times[0], times[-1])
    steps = [b - a for a, b in itertools.pairwise(times)]
    assert head["hush_ns"] == max(steps, default=0)
    if head["hush_ns"]:
        assert head["hush_at_ns"] == times[steps.index(head["hush_ns"])]
    for at, name in enumerate(SERIES):
        values = [_value(f, name) for f in frames]
        had = [v for v in values if not math.isnan(v)]
        one = stats[at]
        missing = [t for t, v in zip(times, values, strict=True) if math.isnan(v)]
        assert (one["n"], one["gap_ns"]) == (len(had), missing[0] if missing else NEVER)
        if not had:
            continue
        assert (one["least"], one["most"]) == (min(had), max(had))
        assert one["mean"] == pytest.approx(sum(had) / len(had))
        assert one["least_ns"] == times[values.index(min(had))]
        assert one["most_ns"] == times[values.index(max(had))]


def _value(frame: Frame, name: str) -> float:
    if name != SWR:
        return frame.values[CHANNELS.index(name)]
    pair = [np.array([frame.values[CHANNELS.index(n)]]) for n in ("forward", "reflected")]
    return float(swr_of(*pair)[0])


watts = st.one_of(st.just(math.nan), st.floats(0, 100), st.floats(-0.1, 1.0))


@given(forward_w=watts, reflected_w=watts)
@settings(max_examples=500)
def test_the_curve_of_swr_is_the_one_that_the_rules_judge(forward_w: float, reflected_w: float) -> None:
    """As `sensors.rf.swr` has it, nan under the floor, and ended where no line can follow."""
    (ours,) = swr_of(np.array([forward_w]), np.array([reflected_w]))
    theirs = swr(forward_w, reflected_w)
    assert ours == pytest.approx(min(theirs, SWR_MOST), nan_ok=True)


@given(seed=st.integers(0, 2**32 - 1), by=st.sampled_from([1, 7, 100, 10_000]))
@settings(max_examples=40, deadline=None)
def test_buckets_are_those_of_the_frames_in_whatever_order_these_come(
    tmp_path_factory: pytest.TempPathFactory, frame_at: MakeFrame, seed: int, by: int
) -> None:
    """Late, repeated, with silences, set back, with values missing: each bucket is what its frames say."""
    rng = random.Random(seed)
    path = tmp_path_factory.mktemp("buckets") / "frames.sqlite"
    frames, at_s = list[Frame](), 0.0
    for _ in range(rng.randint(1, 150)):
        at_s += rng.choice([0.5, 0.5, 0.5, 0.5, 3.0, 30.0, 200.0, -20.0]) * rng.random()
        at_s = max(at_s, 0.0)
        heat = None if rng.random() < 0.1 else rng.choice([20.0, rng.uniform(20, 90)])
        frames.append(frame_at(round(at_s, 3), heatsink=heat, reflected=rng.choice([None, 0.1, rng.uniform(0, 30)])))
        if rng.random() < 0.05:
            frames.append(rng.choice(frames))
    other = [frame_at(i / 2, bay="bay-2") for i in range(40)]
    with closing(FrameWriter(path)) as writer:
        put(writer, 7, frames, by)
        put(writer, 8, other, by)
        held_to(path, 7, frames)
        assert held_to(path, 8, other)[0] == 2


def test_all_but_the_open_slot_is_in_a_bucket(tmp_path: Path, frame_at: MakeFrame) -> None:
    """Of both levels; and the open one too as soon as the bay's next soak begins."""
    path = tmp_path / "frames.sqlite"
    frames = [frame_at(t / 2) for t in range(1000)]
    with closing(FrameWriter(path)) as writer:
        put(writer, 1, frames)
        assert held_to(path, 1, frames) == [frames[-1].time_ns // w - frames[0].time_ns // w for w in WIDTHS_NS]
        put(writer, 2, [frame_at(600)])
        assert held_to(path, 1, frames) == [frames[-1].time_ns // w - frames[0].time_ns // w + 1 for w in WIDTHS_NS]


def test_a_node_whose_clock_stands_still_costs_no_memory_and_loses_nothing(tmp_path: Path, frame_at: MakeFrame) -> None:
    """So many frames of one instant, then one later: the bucket has them all."""
    path = tmp_path / "frames.sqlite"
    frames = [frame_at(1, heatsink=20.0 + i % 50) for i in range(MOST_OPEN + 500)]
    for i, frame in enumerate(frames):
        frame.seq = i
    with closing(FrameWriter(path)) as writer:
        put(writer, 1, [*frames, frame_at(20)], 1000)
        assert held_to(path, 1, [*frames, frame_at(20)])[0] == 1


def test_a_commit_that_fails_leaves_neither_frames_nor_buckets_and_the_next_has_both(
    tmp_path: Path, frame_at: MakeFrame
) -> None:
    """Some hold a row or a span that SQLite can't keep; what is put again is summed up once."""
    path = tmp_path / "frames.sqlite"
    frames = [frame_at(t / 2) for t in range(600)]
    bad = frame_at(1)
    bad.seq = 2**64
    with closing(FrameWriter(path)) as writer:
        for i in range(0, 600, 20):
            rows, spans = [row(f, 1) for f in frames[i : i + 20]], [span_of(1, frames[: i + 20])]
            if i % 60 == 0:
                with pytest.raises(OverflowError):
                    writer.write([*rows, row(bad, 1)], spans)
                with pytest.raises(OverflowError):
                    writer.write(rows, [*spans, Span(9, "bay-9", 2**64, 0, 0)])
            writer.write(rows, spans)
        assert held_to(path, 1, frames)[0] == frames[-1].time_ns // WIDTHS_NS[0] - frames[0].time_ns // WIDTHS_NS[0]


def without_buckets(path: Path) -> None:
    """Make the file what it was before there were any."""
    with closing(sqlite3.connect(path)) as db:
        volts = "".join(f'ALTER TABLE frames DROP COLUMN "{name} volts";' for name in DETECTED)
        db.executescript(f"DROP TABLE buckets; {volts} PRAGMA user_version = 1;")


def test_a_store_from_before_there_were_buckets_is_filled_and_loses_nothing(
    tmp_path: Path, frame_at: MakeFrame, job_at: MakeJob
) -> None:
    """By the writer's own thread while the daemon runs; all that was kept is still there."""
    frames = [frame_at(t / 2, heatsink=20.0 + t % 31) for t in range(0, 16 * FILL_SLOTS * 3)]
    with Store(tmp_path) as store:
        store.put(job_at(1))
        for frame in frames:
            store.put(frame)
        store.put(JobEnded(1, frames[-1].time_ns, "pass", [], {}))
        store.flush()
        curves = store.curves(1)
    without_buckets(tmp_path / FRAMES)
    with Store(tmp_path, commit_s=0.01) as store:
        end_s = time.monotonic() + 20
        while held_to(tmp_path / FRAMES, 1, frames)[0] < len(frames) // 16 - 1:
            assert time.monotonic() < end_s
        assert [f.seq for f in store.job_frames(1)] == [f.seq for f in frames]
        assert store.curves(1) == curves


def test_a_reader_can_do_without_buckets(tmp_path: Path, frame_at: MakeFrame) -> None:
    """A file that no newer daemon has opened yet reads as before."""
    path = tmp_path / "frames.sqlite"
    with closing(FrameWriter(path)) as writer:
        put(writer, 1, [frame_at(t) for t in range(200)])
    without_buckets(path)
    assert FrameReader(path).in_buckets(Slots(1, 0, 0, 2**62)) == 0


class Interrupted(list[str]):
    """Names, by which it is asked first what there is; when they are looked at again, something is written."""

    def __init__(self, names: Sequence[str], write: Callable[[], object]) -> None:
        super().__init__(names)
        self._write, self._asked, self._done = write, False, False

    def _again(self) -> None:
        if self._asked and not self._done:
            self._done = True
            self._write()
        self._asked = True

    def __iter__(self) -> Iterator[str]:
        self._again()
        return super().__iter__()

    def __getitem__(self, at: SupportsIndex | slice) -> Any:
        self._again()
        return super().__getitem__(at)


def test_what_is_read_while_it_is_written_is_of_one_moment(tmp_path: Path, frame_at: MakeFrame) -> None:
    """A commit may come between the question what there is and its reading: each time still has its values."""
    path = tmp_path / "frames.sqlite"
    frames = [frame_at(t / 2, heatsink=20.0, drain_1=math.nan if t < 200 else 2.0) for t in range(400)]
    with closing(FrameWriter(path)) as writer:
        put(writer, 1, frames[:200])
        reader = FrameReader(path)
        names = Interrupted(CHANNELS, lambda: put(writer, 1, frames[:300]))
        times, values = reader.columns(span_of(1, frames), 0, 2**62, names)
        assert (len(times), sorted(values)) == (200, ["forward", "heatsink", "key", "supply"])
        seen, _ = reader.buckets(Slots(1, 0, 0, 2**62), SERIES)
        names = Interrupted(SERIES, lambda: put(writer, 1, frames))
        slots, buckets = reader.buckets(Slots(1, 0, 0, 2**62), names)
        assert slots.tolist() == seen.tolist()
        assert (buckets.stats["n"][:, SERIES.index("heatsink")] > 0).all()


KILLED = """
import sys, time
from pathlib import Path
from daemon.store import Store
from daemon.store.items import JobStarted
from sensors.types import CHANNELS, DETECTED, Frame
store = Store(Path(sys.argv[1]), commit_s=0.005)
start_ns = time.time_ns()
store.put(JobStarted(store.next_job(), "J-1", "MR-25 no. 014", "bay-1", "p", "", {}, start_ns, 0.0))
seq = 0
while True:
    at_s = seq * 0.5
    values, quality = (seq % 97.0,) * len(CHANNELS), bytes(len(CHANNELS))
    store.put(Frame("bay-1", start_ns + seq * 500_000_000, at_s, seq, values, quality))
    print(seq, flush=True)
    seq += 1
    while store.behind > 200:
        time.sleep(0.001)
"""


@pytest.mark.parametrize("round_", range(3))
def test_a_daemon_killed_at_any_instant_leaves_buckets_of_just_its_frames(tmp_path: Path, round_: int) -> None:
    """A real process, kill -9 at a random frame; the next run sums up what was open."""
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path)], stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]
    ) as child:
        assert child.stdout is not None
        last = random.randint(500, 1500)
        try:
            for line in child.stdout:
                if int(line) >= last:
                    break
        finally:
            child.kill()
        child.stdout.read()
    with Store(tmp_path, commit_s=0.01) as store:
        frames = list(store.job_frames(1))
        assert held_to(tmp_path / FRAMES, 1, frames)[0] > 10
        end_s = time.monotonic() + 20
        while (
            held_to(tmp_path / FRAMES, 1, frames)[0]
            < frames[-1].time_ns // WIDTHS_NS[0] - frames[0].time_ns // WIDTHS_NS[0]
        ):
            assert time.monotonic() < end_s
