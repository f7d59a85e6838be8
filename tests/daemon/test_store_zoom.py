"""Curves from buckets: what a person looks for is as it is in the frames, at every zoom."""

import math
import random
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from daemon.api.models import Curve
from daemon.store import Store, zoom
from daemon.store.buckets import SWR, SWR_MOST
from daemon.store.items import JobEnded, JobStarted
from sensors.rf import swr
from sensors.types import Frame

MakeFrame = Callable[..., Frame]
MakeJob = Callable[..., JobStarted]
SPIKE_S = 5000.5


class Soak:
    """A job in a store, and its frames."""

    def __init__(self, store: Store, frames: list[Frame]) -> None:
        self.store, self.frames = store, frames


@pytest.fixture(scope="module")
def long_soak(tmp_path_factory: pytest.TempPathFactory, frame_at: MakeFrame, job_at: MakeJob) -> Iterator[Soak]:
    """Three hours at 2 Hz: one spike of one sample, some missing values, a silence of ten minutes, rests."""
    rng = random.Random(11)
    frames = []
    for t in range(21_600):
        at_s = t / 2
        if 7000 < at_s < 7600:
            continue
        heat = 95.25 if at_s == SPIKE_S else None if rng.random() < 0.001 else round(20 + t / 600 + rng.random(), 3)
        keyed = at_s % 600 < 300
        forward, reflected = (25 + rng.random(), 0.04) if keyed else (0.0, 0.0)
        frames.append(frame_at(at_s, heatsink=heat, forward=forward, reflected=reflected, key=float(keyed)))
    with Store(tmp_path_factory.mktemp("long")) as store:
        store.put(job_at(1))
        for frame in frames:
            store.put(frame)
        store.put(JobEnded(1, frames[-1].time_ns, "pass", [], {}))
        store.flush()
        yield Soak(store, frames)


@pytest.fixture
def buckets_always(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if the soak were too long to be read frame by frame."""
    monkeypatch.setattr(zoom, "MOST_FRAMES", 0)


def one(curves: list[Curve], name: str) -> Curve:
    """The curve of a channel."""
    return next(curve for curve in curves if curve.channel == name)


windows = st.one_of(
    st.just((None, None)),
    st.tuples(st.integers(-100_000, 11_000_000), st.integers(0, 4_000_000)).map(lambda w: (w[0] / 1e3, sum(w) / 1e3)),
)


@pytest.mark.usefixtures("buckets_always")
@example(between=(1863.501, 1872.0), points=16)  # no frame in the slot at the left end
@example(between=(7300.0, 9000.0), points=16)  # the left end in a silence of many slots
@example(between=(5000.0, 7400.0), points=16)  # the right end in it
@given(between=windows, points=st.integers(16, 4000))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_curve_from_buckets_has_the_points_that_matter_and_none_that_is_not_so(
    long_soak: Soak,
    between: tuple[float | None, float | None],
    points: int,
) -> None:
    """As many frames as there are; real readings only; first, last, least, greatest; no more than asked for."""
    store, frames = long_soak.store, long_soak.frames
    view = store.curves(1, *between, points)
    from_s, to_s = (
        (between[0] or 0.0) if between[0] is not None else -math.inf,
        math.inf if between[1] is None else between[1],
    )
    zero_ns = frames[0].time_ns
    inside = [f for f in frames if from_s <= (f.time_ns - zero_ns) / 1e9 <= to_s]
    assert view.frames == len(inside)
    readings = {round((f.time_ns - zero_ns) / 1e9, 3): f.values[0] for f in inside}
    had = [(at_s, v) for at_s, v in readings.items() if not math.isnan(v)]
    if not had:
        assert "heatsink" not in [c.channel for c in view.curves]
        return
    heat = one(view.curves, "heatsink")
    drawn = [(at_s, v) for at_s, v in zip(heat.at_s, heat.value, strict=True) if v is not None]
    assert len(heat.value) <= points
    assert heat.at_s == sorted(heat.at_s)
    assert set(drawn) <= set(had)
    assert (drawn[0], drawn[-1]) == (had[0], had[-1])
    values = [v for _, v in had]
    assert (min(v for _, v in drawn), max(v for _, v in drawn)) == (min(values), max(values))


@pytest.mark.usefixtures("buckets_always")
@pytest.mark.parametrize("points", [16, 200, 1000, 4000])
@pytest.mark.parametrize("between", [(None, None), (0.0, 10_000.0), (4000.0, 6000.0), (4995.0, 5200.0)])
def test_a_spike_of_one_sample_is_seen_where_it_was(
    long_soak: Soak, between: tuple[float | None, float | None], points: int
) -> None:
    """At its instant, at its height, from coarse buckets, from fine ones, and at their ends."""
    heat = one(long_soak.store.curves(1, *between, points).curves, "heatsink")
    assert heat.at_s[heat.value.index(95.25)] == SPIKE_S


@pytest.mark.usefixtures("buckets_always")
@pytest.mark.parametrize("points", [200, 4000])
def test_no_line_crosses_a_silence_or_a_missing_value(long_soak: Soak, points: int) -> None:
    """Ten minutes without frames, in coarse buckets and in fine ones."""
    view = long_soak.store.curves(1, None, None, points)
    supply, swr_curve = one(view.curves, "supply"), one(view.curves, SWR)
    (gap,) = [t for t, v in zip(supply.at_s, supply.value, strict=True) if v is None]
    assert gap == 7000.5
    before = max(t for t, v in zip(supply.at_s, supply.value, strict=True) if v is not None and t < gap)
    after = min(t for t, v in zip(supply.at_s, supply.value, strict=True) if v is not None and t > gap)
    part_s = max(64.0, 3 * 10_800 / (points // 2))
    assert 7000.0 - part_s <= before <= 7000.0
    assert 7600.0 <= after <= 7600.0 + part_s
    if points > 1000:
        rests = [t for t, v in zip(swr_curve.at_s, swr_curve.value, strict=True) if v is None and t % 600 >= 300]
        assert {int(t // 600) for t in rests} >= set(range(18)) - {11, 12}


@pytest.mark.parametrize("many", [True, False])
def test_swr_is_the_ratio_of_the_same_instant_and_has_none_under_the_floor(
    long_soak: Soak, monkeypatch: pytest.MonkeyPatch, many: bool
) -> None:
    """Reckoned frame by frame before anything is thinned; unit 1; a channel that no frame has."""
    monkeypatch.setattr(zoom, "MOST_FRAMES", 0 if many else 10**9)
    store, frames = long_soak.store, long_soak.frames
    curve = one(store.curves(1, 0.0, 3600.0, 4000).curves, SWR)
    assert curve.unit == "1"
    by_time = {(f.time_ns - frames[0].time_ns) / 1e9: f for f in frames}
    had = [(t, v) for t, v in zip(curve.at_s, curve.value, strict=True) if v is not None]
    assert len(had) > 400
    for at_s, value in had:
        assert value == pytest.approx(swr(by_time[at_s].values[14], by_time[at_s].values[16]))
        assert at_s % 600 < 300


def test_a_load_that_takes_nothing_is_a_curve_that_can_be_drawn(
    store: Store, frame_at: MakeFrame, job_at: MakeJob
) -> None:
    """An infinite ratio ends at a figure, as JSON and lines have no infinity."""
    store.put(job_at(1))
    for t in range(4):
        store.put(frame_at(t, forward=25.0, reflected=25.0 if t == 2 else 0.0))
    store.flush()
    assert one(store.curves(1).curves, SWR).value == [1.0, 1.0, SWR_MOST, 1.0]


@pytest.mark.usefixtures("buckets_always")
def test_a_soak_that_runs_is_drawn_to_its_last_reading(tmp_path: Path, frame_at: MakeFrame, job_at: MakeJob) -> None:
    """What no bucket holds yet comes frame by frame."""
    with Store(tmp_path, commit_s=0.01) as store:
        store.put(job_at(1))
        for t in range(500):
            store.put(frame_at(t, heatsink=20.0 + t))
            if t % 50 == 49:
                store.flush()
                view = store.curves(1)
                heat = one(view.curves, "heatsink")
                assert (view.frames, view.to_s, heat.at_s[-1], heat.value[-1]) == (t + 1, t, t, 20.0 + t)
                assert store.strip(1)[-1] == (t, 20.0 + t)


@pytest.mark.parametrize("moment_s", [-1e300, -1.0, 1e5, 1e300])
def test_a_moment_at_which_nothing_was_has_no_curve(long_soak: Soak, moment_s: float) -> None:
    """Before, after, and beyond what any clock can hold."""
    view = long_soak.store.curves(1, moment_s, moment_s)
    assert (view.frames, view.curves) == (0, [])
