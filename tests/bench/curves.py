"""A soak of 24 hours at 10 Hz, nine channels: what its curves cost the server, and what keeping buckets costs a put.

    .venv/bin/python tests/bench/curves.py

Takes about a minute; everything is in a temporary folder, and every figure is of this run on this machine.
"""

import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import partial
from pathlib import Path

import numpy as np
import zstandard

from daemon.api.models import CurvesView
from daemon.store import Reader, Store, zoom
from daemon.store.frames import FrameWriter, Span, row
from daemon.store.items import JobEnded, JobStarted
from daemon.store.pyramid import Pyramid, Row
from daemon.store.reader import FRAMES
from sensors.types import CHANNELS, INDEX, NAN, Frame, Quality

HOURS, RATE_HZ, POINTS = 24, 10, 4000
START_NS = 1_764_054_000 * 10**9
GIVEN = ("heatsink", "case-1", "drain-1", "drain-2", "supply", "forward", "reflected", "ambient", "key")
QUALITY = bytes(Quality.GOOD if name in GIVEN else Quality.MISSING for name in CHANNELS)
PUT_FRAMES = 86_400
SPIKE = 300_001


def say(line: str) -> None:
    """One line of the report."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def frames(n: int, rate_hz: float, bay: str = "bay-1") -> Iterator[Frame]:
    """Frames as a node sends them, with noise in every digit; one sample is a spike."""
    rng = np.random.default_rng(7)
    at_s = np.arange(n) / rate_hz
    keyed = (at_s % 120 < 60).astype(float)
    columns = {
        "heatsink": 50 + 20 * np.sin(at_s / 7000) + rng.normal(0, 0.1, n),
        "case-1": 55 + 20 * np.sin(at_s / 7000) + rng.normal(0, 0.1, n),
        "drain-1": 0.25 + 2 * keyed + rng.normal(0, 0.01, n),
        "drain-2": 0.25 + 2 * keyed + rng.normal(0, 0.01, n),
        "supply": 13.8 - 0.2 * keyed + rng.normal(0, 0.01, n),
        "forward": 25 * keyed + rng.normal(0, 0.1, n) ** 2,
        "reflected": 0.05 * keyed + rng.normal(0, 0.01, n) ** 2,
        "ambient": 21 + rng.normal(0, 0.1, n),
        "key": keyed,
    }
    if n > SPIKE:
        columns["heatsink"][SPIKE] = 99.5
    where = [INDEX[name] for name in GIVEN]
    for i, values in enumerate(zip(*(columns[name].tolist() for name in GIVEN), strict=True)):
        full = [NAN] * len(CHANNELS)
        for at, value in zip(where, values, strict=True):
            full[at] = value
        yield Frame(bay, START_NS + round(i * 1e9 / rate_hz), i / rate_hz, i, tuple(full), QUALITY)


def built(folder: Path) -> int:
    """A whole job in a store there; gives its number."""
    n = HOURS * 3600 * RATE_HZ
    with Store(folder) as store:
        job = store.next_job()
        store.put(JobStarted(job, "J-1", "MR-25 no. 014", "bay-1", "a day", "", {}, START_NS, 0.0))
        for i, frame in enumerate(frames(n, RATE_HZ)):
            store.put(frame)
            if i % 50_000 == 0:
                store.flush()
        store.put(JobEnded(job, START_NS + round(n * 1e9 / RATE_HZ), "pass", [], {}))
        store.flush(60)
    return job


def timed(ask: Callable[[], CurvesView], times: int) -> tuple[float, CurvesView, bytes]:
    """The median of so many tries in ms, from the question to the JSON that goes on the wire."""
    took_s, view, text = list[float](), ask(), b""
    for _ in range(times):
        start_s = time.perf_counter()
        view = ask()
        text = view.model_dump_json().encode()
        took_s.append(time.perf_counter() - start_s)
    return float(np.median(took_s)) * 1e3, view, text


def curves(folder: Path, job: int) -> None:
    """Print what each zoom costs, and how that compares with reading every frame and sending every point."""
    store = Reader(folder)
    raw_ms, raw, raw_text = timed(lambda: _all_points(store, job), 1)
    say(f"{raw.frames} frames in {(folder / FRAMES).stat().st_size / 1e6:.0f} MB")
    say(f"{'':26}{'server':>10}{'points':>9}{'a trace':>9}{'JSON':>11}{'zstd':>11}{'of all raw':>11}")
    _line("all points, raw", raw_ms, raw, raw_text, raw_ms)
    for name, from_s, to_s in (
        ("whole", None, None),
        ("zoom to 6 h", 30_000.0, 51_600.0),
        ("zoom to 1 h", 29_000.0, 32_600.0),
        ("zoom to 5 min, raw", 29_900.0, 30_200.0),
        ("zoom to 1 min, raw", 29_970.0, 30_030.0),
    ):
        took_ms, view, text = timed(partial(store.curves, job, from_s, to_s, POINTS), 7)
        _line(name, took_ms, view, text, raw_ms)
        heat = next(curve for curve in view.curves if curve.channel == "heatsink")
        assert heat.at_s[heat.value.index(99.5)] == SPIKE / RATE_HZ, "the spike is gone"
        assert max(len(curve.value) for curve in view.curves) <= POINTS


def _all_points(store: Reader, job: int) -> CurvesView:
    most, zoom.MOST_FRAMES = zoom.MOST_FRAMES, 10**9
    try:
        return store.curves(job, points=10**9)
    finally:
        zoom.MOST_FRAMES = most


def _line(name: str, took_ms: float, view: CurvesView, text: bytes, raw_ms: float) -> None:
    points = [len(curve.value) for curve in view.curves]
    size = f"{len(text) / 1e3:.0f} kB"
    packed = f"{len(zstandard.compress(text)) / 1e3:.0f} kB"
    ratio = f"1/{raw_ms / took_ms:.0f}"
    say(f"{name:26}{took_ms:>7.0f} ms{sum(points):>9}{max(points):>9}{size:>11}{packed:>11}{ratio:>11}")


class _NoPyramid(Pyramid):
    """As before there were buckets."""

    def add(self, rows: object, all_new: bool) -> None:
        """Nothing."""


def puts(folder: Path) -> None:
    """Print what 86 400 frames of six bays at 2 Hz cost the writer, with buckets and without, turn by turn."""
    each = PUT_FRAMES // 6
    by_time = zip(*(frames(each, 2.0, f"bay-{bay}") for bay in range(6)), strict=True)
    rows: list[Row] = [row(frame, 1 + bay) for at in by_time for bay, frame in enumerate(at)]
    for chunk, name in ((10_000, "10 000 a commit"), (600, "600 a commit (64 bays, 10 Hz, 1 s)")):
        found: dict[str, list[float]] = {"without": [], "with": []}
        sizes: dict[str, int] = {}
        for turn in range(3):
            for kind, took in found.items():
                path = folder / f"{chunk}-{turn}-{kind}.sqlite"
                took.append(_put(path, rows, chunk, kind == "with"))
                sizes[kind] = path.stat().st_size
        best = {kind: min(took) for kind, took in found.items()}
        more = best["with"] / best["without"] - 1
        say(
            f"{PUT_FRAMES} frames, {name}: without buckets {best['without']:.2f} s, with {best['with']:.2f} s "
            f"({more:+.0%}, {(best['with'] - best['without']) / PUT_FRAMES * 1e6:.1f} us a frame), "
            f"file {sizes['without'] / 1e6:.1f} -> {sizes['with'] / 1e6:.1f} MB"
        )


def _put(path: Path, rows: list[Row], chunk: int, buckets: bool) -> float:
    spans: dict[int, Span] = {}
    with closing(FrameWriter(path)) as writer:
        if not buckets:
            writer._pyramid = _NoPyramid(writer._db)
        start_s = time.perf_counter()
        for i in range(0, len(rows), chunk):
            for r in rows[i : i + chunk]:
                span = spans.setdefault(r[3], Span(r[3], r[0], r[1], r[1], r[1]))
                span.last_ns = r[1]
            writer.write(rows[i : i + chunk], spans.values())
        took_s = time.perf_counter() - start_s
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT count(*) FROM frames").fetchone() == (len(rows),)
    return took_s


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as temporary:
        puts(Path(temporary))
        begun_s = time.perf_counter()
        made = built(Path(temporary) / "data")
        say(f"built in {time.perf_counter() - begun_s:.0f} s")
        curves(Path(temporary) / "data", made)
