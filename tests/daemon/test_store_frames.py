"""Frames in SQLite: what goes in comes out, in order, once."""

import math
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.errors import StoreUnfit
from daemon.store.frames import PAGE, FrameReader, FrameWriter, Span, row
from sensors.types import CHANNELS, DETECTED, NAN, NO_VOLTS, Frame, Quality

MakeFrame = Callable[..., Frame]

readings = st.one_of(st.none(), st.floats(allow_nan=False, allow_infinity=False))


@st.composite
def any_frame(draw: st.DrawFn) -> Frame:
    """A frame with any mixture of values and of reasons for having none."""
    values = draw(st.tuples(*[readings] * len(CHANNELS)))
    reasons = st.sampled_from([q for q in Quality if q is not Quality.GOOD])
    return Frame(
        draw(st.text("abcde-0123", min_size=1)),
        draw(st.integers(0, 2**62)),
        draw(st.floats(0, 1e9)),
        draw(st.integers(-1, 2**32 - 1)),
        tuple(NAN if v is None else v for v in values),
        bytes(draw(reasons) if v is None else Quality.GOOD for v in values),
        tuple(NAN if v is None else v for v in draw(st.tuples(*[readings] * len(NO_VOLTS)))),
    )


def same(a: Frame, b: Frame) -> bool:
    """Equal, where nan equals nan."""
    pairs = zip((*a.values, *a.volts), (*b.values, *b.volts), strict=True)
    return all(x == y or (math.isnan(x) and math.isnan(y)) for x, y in pairs) and (
        (a.bay, a.time_ns, a.clock_s, a.seq, a.quality) == (b.bay, b.time_ns, b.clock_s, b.seq, b.quality)
    )


@given(frame=any_frame())
@settings(max_examples=50, deadline=None)
def test_a_frame_comes_back_exactly_as_it_was_put(frame: Frame) -> None:
    """Every bit of every channel, and the reason where there is no value."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "frames.sqlite"
        with closing(FrameWriter(path)) as writer:
            writer.write([row(frame, 0)], [])
            (back,) = FrameReader(path).frames(frame.bay, frame.time_ns, frame.time_ns)
    assert same(frame, back)


def test_a_file_from_before_volts_were_kept_is_read_and_then_brought_on(tmp_path: Path, frame_at: MakeFrame) -> None:
    """A reader alone, with no daemon to bring it on, reads it as it is; the writer then keeps volts beside."""
    path, old = tmp_path / "frames.sqlite", frame_at(0.0)
    with closing(FrameWriter(path)) as writer:
        writer.write([row(old, 0)], [])
    with closing(sqlite3.connect(path)) as db:
        volts = "".join(f'ALTER TABLE frames DROP COLUMN "{name} volts";' for name in DETECTED)
        db.executescript(f"{volts} PRAGMA user_version = 2;")
    assert all(map(same, FrameReader(path).frames("bay-1", 0, 2**62), [old]))
    new = msgspec.structs.replace(frame_at(1.0), volts=(0.512, NAN, 0.01))
    with closing(FrameWriter(path)) as writer:
        writer.write([row(new, 0)], [])
    back = list(FrameReader(path).frames("bay-1", 0, 2**62))
    assert len(back) == 2
    assert all(map(same, back, [old, new]))


def test_frames_come_by_sample_time_over_many_pages_and_of_one_bay(tmp_path: Path, frame_at: MakeFrame) -> None:
    """Reading goes page by page and neither misses nor repeats a frame at a page's end."""
    path = tmp_path / "frames.sqlite"
    put = [frame_at(t / 10, bay=bay) for t in range(2 * PAGE + 3) for bay in ("bay-1", "bay-2")]
    with closing(FrameWriter(path)) as writer:
        writer.write([row(f, 0) for f in reversed(put)], [])
        back = list(FrameReader(path).frames("bay-2", 0, 2**62))
    assert [f.time_ns for f in back] == [f.time_ns for f in put if f.bay == "bay-2"]


def test_a_page_may_end_between_two_frames_of_one_instant(tmp_path: Path, frame_at: MakeFrame) -> None:
    """A node that restarts in the middle of a second may send the same instant twice, with another seq."""
    path = tmp_path / "frames.sqlite"
    put = [frame_at(t // 3) for t in range(PAGE + 2)]
    for i, frame in enumerate(put):
        frame.seq = i
    with closing(FrameWriter(path)) as writer:
        writer.write([row(f, 0) for f in put], [])
        assert [f.seq for f in FrameReader(path).frames("bay-1", 0, 2**62)] == list(range(PAGE + 2))


def test_both_ends_of_a_stretch_belong_to_it(tmp_path: Path, frame_at: MakeFrame) -> None:
    """Asked from one sample's time to another's, both samples come."""
    path = tmp_path / "frames.sqlite"
    put = [frame_at(t) for t in range(5)]
    with closing(FrameWriter(path)) as writer:
        writer.write([row(f, 0) for f in put], [])
        back = list(FrameReader(path).frames("bay-1", put[1].time_ns, put[3].time_ns))
    assert [f.seq for f in back] == [1, 2, 3]


def test_a_pack_that_is_delivered_twice_is_kept_once(tmp_path: Path, frame_at: MakeFrame) -> None:
    """Same bay, same instant, same seq: MQTT QoS 1 may repeat, and so may a commit that is tried again."""
    path = tmp_path / "frames.sqlite"
    with closing(FrameWriter(path)) as writer:
        writer.write([row(frame_at(1), 0), row(frame_at(1), 0)], [])
        writer.write([row(frame_at(1), 0)], [])
        assert len(list(FrameReader(path).frames("bay-1", 0, 2**62))) == 1


def test_a_group_is_kept_whole_or_not_at_all(tmp_path: Path, frame_at: MakeFrame) -> None:
    """A row that SQLite can't hold leaves nothing behind of the rows beside it."""
    path = tmp_path / "frames.sqlite"
    bad = frame_at(2)
    bad.time_ns = 2**64
    with closing(FrameWriter(path)) as writer:
        with pytest.raises(OverflowError):
            writer.write([row(frame_at(1), 0), row(bad, 0)], [])
        assert not list(FrameReader(path).frames("bay-1", 0, 2**62))
        writer.write([row(frame_at(1), 0)], [])


def test_columns_have_only_channels_with_a_value(tmp_path: Path, frame_at: MakeFrame) -> None:
    """A channel that the bay has not is no column; one that misses a sample has nan there."""
    path = tmp_path / "frames.sqlite"
    put = [frame_at(0, heatsink=20.5, forward=None), frame_at(1, heatsink=None, forward=24.25)]
    with closing(FrameWriter(path)) as writer:
        writer.write([row(f, 7) for f in put], [])
        span = Span(7, "bay-1", put[0].time_ns, put[0].time_ns, put[1].time_ns)
        times, columns = FrameReader(path).columns(span, span.first_ns, span.last_ns)
    assert times.tolist() == [f.time_ns for f in put]
    assert set(columns) == {"heatsink", "forward", "supply", "key"}
    assert columns["heatsink"][0] == 20.5
    assert math.isnan(columns["heatsink"][1])
    assert columns["forward"][1] == 24.25


def test_a_file_that_is_no_database_is_named(tmp_path: Path) -> None:
    """The error says which file."""
    path = tmp_path / "frames.sqlite"
    path.write_bytes(b"not a database at all, but long enough to look at\n" * 20)
    with pytest.raises(StoreUnfit) as caught:
        FrameWriter(path)
    assert caught.value.path == path


def test_frames_of_a_newer_keysoak_are_left_alone(tmp_path: Path) -> None:
    """A version that is not known is refused, not guessed at."""
    path = tmp_path / "frames.sqlite"
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA user_version = 99")
    with pytest.raises(StoreUnfit, match="newer keysoak"):
        FrameWriter(path)


def test_two_hours_of_six_bays_are_written_in_seconds(tmp_path: Path, frame_at: MakeFrame) -> None:
    """86 400 frames, committed 10 000 at a time with a sync to disk each (0.3 s where it was measured)."""
    path = tmp_path / "frames.sqlite"
    rows = [row(frame_at(t / 2, bay=f"bay-{bay}"), 1) for t in range(14_400) for bay in range(6)]
    with closing(FrameWriter(path)) as writer:
        start = time.perf_counter()
        for i in range(0, len(rows), 10_000):
            writer.write(rows[i : i + 10_000], [])
        assert time.perf_counter() - start < 5
