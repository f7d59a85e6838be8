"""Curves: thinned, and yet nothing that a person would look for is gone."""

import math
import time
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.errors import NoSuch
from daemon.store import Store
from daemon.store.curves import LEAST_POINTS, open_silences, thin
from daemon.store.items import JobEnded, JobStarted
from sensors.types import NAN, Frame

MakeFrame = Callable[..., Frame]
MakeJob = Callable[..., JobStarted]


@given(
    seed=st.integers(0, 2**32 - 1),
    length=st.integers(1, 3000),
    missing=st.sampled_from([0.0, 0.001, 0.1, 0.9, 1.0]),
    points=st.integers(1, 200),
)
@settings(deadline=None, max_examples=300)
def test_thinning_keeps_ends_extremes_and_gaps_within_the_points_asked_for(
    seed: int, length: int, missing: float, points: int
) -> None:
    """Whatever the series: no more points than asked, in order, all real, first, last, least, greatest, gaps."""
    random = np.random.default_rng(seed)
    values = np.where(random.random(length) < missing, NAN, random.normal(size=length))
    at_s = np.arange(length, dtype=float)
    kept_s, kept = thin(at_s, values, points)
    assert len(kept) <= max(points, LEAST_POINTS)
    assert (np.diff(kept_s) > 0).all()
    np.testing.assert_array_equal(kept, values[kept_s.astype(int)])
    has = np.flatnonzero(~np.isnan(values))
    if len(has):
        assert {has[0], has[-1]} <= set(kept_s.astype(int))
        assert np.nanmin(kept) == np.nanmin(values)
        assert np.nanmax(kept) == np.nanmax(values)
    for a, b in zip(kept_s[:-1].astype(int), kept_s[1:].astype(int), strict=True):
        assert not np.isnan(values[a + 1 : b]).any() or np.isnan(values[[a, b]]).any()


def test_a_silence_is_opened_and_a_late_sample_is_not() -> None:
    """More than three sample times without a frame break the line; two do not."""
    at_s = np.array([0.0, 0.5, 1.0, 2.0, 2.5, 3.0, 10.0, 10.5])
    full_s, columns = open_silences(at_s, {"heatsink": np.arange(8.0)})
    assert full_s.tolist() == [0.0, 0.5, 1.0, 2.0, 2.5, 3.0, 3.5, 10.0, 10.5]
    assert np.isnan(columns["heatsink"]).tolist() == [False] * 6 + [True] + [False] * 2


def soak(store: Store, job: JobStarted, frames: list[Frame]) -> None:
    """Put a whole job, and see it on disk."""
    store.put(job)
    for frame in frames:
        store.put(frame)
    store.put(JobEnded(job.job, frames[-1].time_ns, "pass", [], {}))
    store.flush()


@pytest.mark.parametrize("points", [16, 100, 1000])
def test_a_spike_of_one_sample_is_seen_at_every_zoom(
    store: Store, frame_at: MakeFrame, job_at: MakeJob, points: int
) -> None:
    """The whole two hours or five minutes of it, with few points or many."""
    frames = [frame_at(t / 2, heatsink=90.5 if t == 7001 else 50.0) for t in range(14_400)]
    soak(store, job_at(), frames)
    for from_s, to_s in ((None, None), (3400.0, 3700.0), (3500.5, 3500.5)):
        view = store.curves(1, from_s, to_s, points)
        (heatsink,) = [curve for curve in view.curves if curve.channel == "heatsink"]
        assert len(heatsink.value) <= points
        assert heatsink.at_s[heatsink.value.index(90.5)] == 3500.5


def test_curves_say_what_they_cover(store: Store, frame_at: MakeFrame, job_at: MakeJob) -> None:
    """The moments asked for, how many frames lie there, units, and None where a reading is missing."""
    frames = [frame_at(t, heatsink=None if t == 2 else 20.0 + t) for t in range(6)]
    soak(store, job_at(), frames)
    view = store.curves(1, 1.0, 4.0)
    assert (view.job, view.from_s, view.to_s, view.frames) == (1, 1.0, 4.0, 4)
    (heatsink,) = [curve for curve in view.curves if curve.channel == "heatsink"]
    assert heatsink.unit == "Cel"
    assert heatsink.at_s == [1.0, 2.0, 3.0, 4.0]
    assert heatsink.value == [21.0, None, 23.0, 24.0]
    whole = store.curves(1)
    assert (whole.from_s, whole.to_s, whole.frames) == (0.0, 5.0, 6)


def test_a_job_without_readings_has_no_curves(store: Store, job_at: MakeJob) -> None:
    """It is there, and empty; a job that is not there is an error that names those that are."""
    store.put(job_at(1))
    store.flush()
    view = store.curves(1)
    assert (view.frames, view.curves, view.to_s) == (0, [], 0.0)
    assert store.strip(1) == []
    assert list(store.job_frames(1)) == []
    with pytest.raises(NoSuch, match="known: 1"):
        store.curves(2)


def test_the_time_axis_is_the_rules_clock_where_a_node_has_its_own_wall_clock(
    store: Store, frame_at: MakeFrame, job_at: MakeJob
) -> None:
    """A node whose clock is an hour behind draws the same curve as one that is right."""
    frames = [frame_at(t, heatsink=20.0 + t) for t in range(1, 6)]
    for frame in frames:
        frame.time_ns -= 3600 * 10**9
    soak(store, job_at(), frames)
    (curve,) = [c for c in store.curves(1).curves if c.channel == "heatsink"]
    assert curve.at_s == [1.0, 2.0, 3.0, 4.0, 5.0]


def test_frames_belong_to_the_job_during_which_they_were_put(
    store: Store, frame_at: MakeFrame, job_at: MakeJob
) -> None:
    """Before, between and after soaks a bay's frames are kept, and belong to none."""
    for t in range(10):
        if t in (2, 6):
            store.put(job_at(t, at_s=t))
        store.put(frame_at(t))
        store.put(frame_at(t, bay="bay-2"))
        if t in (4, 8):
            store.put(JobEnded(t - 2, frame_at(t).time_ns, "pass", [], {}))
    store.flush()
    assert [f.seq for f in store.job_frames(2)] == [2, 3, 4]
    assert [f.seq for f in store.job_frames(6)] == [6, 7, 8]
    assert [f.seq for f in store.frames("bay-1", 0, 2**62)] == list(range(10))
    assert store.zero_ns(6) == frame_at(6).time_ns


def test_a_strip_is_numbers_only(store: Store, frame_at: MakeFrame, job_at: MakeJob) -> None:
    """Seconds and degrees, thinned to what a shelf can show, without moments that have no reading."""
    soak(store, job_at(), [frame_at(t, heatsink=None if 500 < t < 600 else 20.0 + t) for t in range(1200)])
    strip = store.strip(1, 100)
    assert 40 <= len(strip) <= 100
    assert strip[0] == (0.0, 20.0)
    assert strip[-1] == (1199.0, 1219.0)
    assert not any(math.isnan(c) for _, c in strip)


def test_curves_of_two_hours_open_at_once(store: Store, frame_at: MakeFrame, job_at: MakeJob) -> None:
    """14 400 frames of nine channels and SWR: 0.05 s of the processor where it was measured; thrice that passes."""
    more = {"drain_1": 2.1, "drain_2": 2.2, "reflected": 0.04, "ambient": 21.0, "case_1": 51.37}
    soak(store, job_at(), [frame_at(t / 2, heatsink=20.0 + t / 977, **more) for t in range(14_400)])
    took_s = []
    for _ in range(5):
        start = time.thread_time()
        view = store.curves(1, points=2000)
        took_s.append(time.thread_time() - start)
    assert len(view.curves) == 10
    assert min(took_s) < 0.15
