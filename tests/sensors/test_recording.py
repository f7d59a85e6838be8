"""Recordings: what is written comes back, and a cut is told with path, line and reason after all whole packs."""

import gzip
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import pytest
import zstandard
from hypothesis import example, given
from hypothesis import strategies as st

from sensors.errors import RecordingBroken
from sensors.recording import Writer, packed, read
from sensors.types import BOOLEANS, CHANNELS, INDEX, NAN, Frame, Quality

T0_NS = 1764054000_000000000
ENDINGS = ["", ".gz", ".zst"]


def frame(i: int, bay: str = "bay-3", **values: float) -> Frame:
    """The i-th frame at 2 Hz: its number as supply voltage, and what else is told."""
    row, quality = [NAN] * len(CHANNELS), bytearray([Quality.MISSING]) * len(CHANNELS)
    for name, value in {"supply": float(i), **values}.items():
        row[INDEX[name]], quality[INDEX[name]] = value, Quality.GOOD
    return Frame(bay, T0_NS + i * 500_000_000, T0_NS / 1e9 + i / 2, i, tuple(row), bytes(quality))


def same(a: Frame, b: Frame) -> bool:
    """Equality that holds for nan too."""
    return repr(a) == repr(b)


def whole_and_why(path: Path) -> tuple[list[Frame], RecordingBroken]:
    """The frames that come before a recording breaks, and how it breaks."""
    got: list[Frame] = []

    def drain() -> None:
        for each in read(path):
            got.append(each)

    with pytest.raises(RecordingBroken) as caught:
        drain()
    return got, caught.value


@pytest.mark.parametrize("ending", ENDINGS)
def test_what_is_written_comes_back_with_event_time_on_the_clock(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"soak.senml{ending}"
    frames = [frame(i, bay, key=float(i % 2)) for i in range(50) for bay in ("bay-1", "bay-2")]
    with Writer(path) as writer:
        for each in frames:
            writer.write(each)
    assert all(same(a, b) for a, b in zip(read(path), frames, strict=True))


qualities = st.sampled_from(Quality)


@example([(Quality.MISSING, 0.0)] * len(CHANNELS), 5, 10**15)
@example([(Quality.GOOD, 0.0)] * len(CHANNELS), 5, 3_825_051_038_574_333)
@given(
    st.lists(st.tuples(qualities, st.floats(-1e9, 1e9)), min_size=len(CHANNELS), max_size=len(CHANNELS)),
    st.integers(-1, 2**32 - 1),
    st.integers(10**15, 4 * 10**15),
)
def test_any_frame_comes_back_with_its_qualities(
    tmp_path_factory: pytest.TempPathFactory, cells: list[tuple[Quality, float]], seq: int, time_us: int
) -> None:
    path = tmp_path_factory.mktemp("any") / "one.senml"
    values = tuple(
        (float(v > 0) if name in BOOLEANS else v) if q == Quality.GOOD else NAN
        for name, (q, v) in zip(CHANNELS, cells, strict=True)
    )
    one = Frame("b", time_us * 1000, time_us * 1000 / 1e9, seq, values, bytes(q for q, _ in cells))
    with Writer(path) as writer:
        writer.write(one)
    (back,) = read(path)
    assert same(back, one)


def test_the_same_frames_give_the_same_archive(tmp_path: Path) -> None:
    for name in ("a.gz", "b.gz"):
        with Writer(tmp_path / name) as writer:
            writer.write(frame(1))
    assert (tmp_path / "a.gz").read_bytes() == (tmp_path / "b.gz").read_bytes()


def test_a_line_of_another_hand_is_read_whatever_bay_it_names(tmp_path: Path) -> None:
    path = tmp_path / "other.senml"
    path.write_text(
        '[{"bn":"left/shelf/","bt":1764054000,"n":"supply","u":"V","v":13.7}]\n\n'
        '[{"bn":"b/","bt":1764054000,"n":"mood","vs":"x"},{"n":"load","u":"Cel","t":1,"v":20}]'
    )
    assert [(f.bay, f.clock_s, dict(f.present())) for f in read(path)] == [
        ("left/shelf", 1764054000.0, {"supply": 13.7}),
        ("b", 1764054001.0, {"load": 20.0}),
    ]


def test_a_recording_that_ends_in_mid_line_gives_all_whole_packs_and_then_says_where_it_broke(tmp_path: Path) -> None:
    path = tmp_path / "cut.senml"
    text = b"\n".join(packed(frame(i)) for i in range(3))
    path.write_bytes(text[:-20])
    got, broken = whole_and_why(path)
    assert [f.seq for f in got] == [0, 1]
    assert (broken.path, broken.line) == (path, 3)
    assert "ends in the middle of a line" in broken.why
    assert str(path) in str(broken)


def test_a_last_line_that_lacks_only_its_line_feed_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "no-lf.senml"
    path.write_bytes(packed(frame(0)) + b"\n" + packed(frame(1)))
    assert [f.seq for f in read(path)] == [0, 1]


@pytest.mark.parametrize("ending", [".gz", ".zst"])
@pytest.mark.parametrize("kept", [0.3, 0.9, 0.999])
def test_an_archive_cut_short_gives_whole_packs_and_then_says_so(tmp_path: Path, ending: str, kept: float) -> None:
    path = tmp_path / f"cut.senml{ending}"
    with Writer(path) as writer:
        for i in range(20_000):
            writer.write(frame(i))
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * kept)])
    got, broken = whole_and_why(path)
    assert [f.seq for f in got] == list(range(len(got)))
    assert len(got) > 20_000 * kept * 0.5
    assert broken.line == len(got)
    assert f"line {len(got)}" in str(broken)


@pytest.mark.parametrize("ending", [".gz", ".zst"])
def test_a_file_that_is_no_archive_is_told_as_that(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"plain{ending}"
    path.write_bytes(packed(frame(0)) + b"\n")
    assert whole_and_why(path)[0] == []


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"hello", "malformed"),
        (b'[{"bn":"b/","n":"supply","u":"V","v":1}]', "absolute times"),
        (b"\n\n\xff", "malformed"),
        (b'[{"bn":"b/","bt":1764054000,"n":"supply","u":"V","v":NaN}]', "malformed"),
        (b"[" * 70_000, "70000 bytes"),
        (b"[" * (10 << 20), "65536 bytes"),
    ],
    ids=["text", "relative time", "bytes after empty lines", "NaN", "70 kB", "10 MB"],
)
def test_a_line_that_is_no_pack_stops_the_reading_there(tmp_path: Path, line: bytes, why: str) -> None:
    path = tmp_path / "bad.senml"
    path.write_bytes(packed(frame(0)) + b"\n" + line + b"\n" + packed(frame(1)) + b"\n")
    got, broken = whole_and_why(path)
    assert [f.seq for f in got] == [0]
    assert broken.line == 2 + line.count(b"\n")
    assert why in broken.why


def test_a_file_that_is_not_there_is_told_by_its_path(tmp_path: Path) -> None:
    got, broken = whole_and_why(tmp_path / "nowhere.senml.gz")
    assert got == []
    assert "nowhere.senml.gz: No such file" in str(broken)


def test_an_empty_recording_gives_nothing(tmp_path: Path) -> None:
    (tmp_path / "empty").touch()
    assert list(read(tmp_path / "empty")) == []


def test_the_memory_does_not_grow_with_the_recording(tmp_path: Path) -> None:
    path = tmp_path / "long.senml.zst"
    with Writer(path) as writer:
        for i in range(40_000):
            writer.write(frame(i))

    def drain(frames: Iterator[Frame]) -> int:
        return sum(1 for _ in frames)

    tracemalloc.start()
    try:
        assert drain(read(path)) == 40_000
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 4 << 20


def test_archives_are_what_the_usual_tools_read(tmp_path: Path) -> None:
    for ending in (".gz", ".zst"):
        with Writer(tmp_path / f"a{ending}") as writer:
            writer.write(frame(7))
    expected = packed(frame(7)) + b"\n"
    assert gzip.decompress((tmp_path / "a.gz").read_bytes()) == expected
    with (tmp_path / "a.zst").open("rb") as raw:
        assert zstandard.ZstdDecompressor().stream_reader(raw).read() == expected
