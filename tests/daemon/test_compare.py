"""The band of earlier good units."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.api.aligned import key_on_s
from daemon.api.compare import Bands, by_minute, earlier_good
from daemon.api.models import Curve, CurvesView, JobView, PhaseView, PlanView

START_NS = 1_764_054_000 * 10**9


def job(number: int, verdict: str | None = "pass", minutes: float = 10.0) -> JobView:
    """A soak; later numbers began later."""
    phases = [PhaseView(drive="off", start_s=0, end_s=60), PhaseView(drive="carrier", start_s=60, end_s=minutes * 60)]
    start_ns = START_NS + number * 3600 * 10**9
    return JobView(
        job=number, number="", unit="", bay="bay-1", plan=PlanView(name="p", total_s=minutes * 60, phases=phases),
        started_ns=start_ns, ended_ns=start_ns + round(minutes * 60e9) if verdict else None,
        verdict=verdict, reasons=[], figures={}, limits={}, tags=[],
    )  # fmt: skip


def curve(channel: str, values: Sequence[float | None], step_s: float = 30.0) -> Curve:
    """A curve with evenly spaced points."""
    return Curve(channel=channel, unit="Cel", at_s=[i * step_s for i in range(len(values))], value=list(values))


class Shelf:
    """Soaks that a test chooses; counts how often their curves are read."""

    def __init__(self, jobs: list[JobView], heat_c: dict[int, float]) -> None:
        self._jobs, self._heat_c = {j.job: j for j in jobs}, heat_c
        self.read: list[int] = []

    def jobs(self) -> list[JobView]:
        """The newest first."""
        return sorted(self._jobs.values(), key=lambda j: -j.job)

    def job(self, job: int) -> JobView:
        """One of them."""
        return self._jobs[job]

    def curves(self, job: int, from_s: float | None, to_s: float | None, points: int) -> CurvesView:
        """Steady heat, keyed after a minute."""
        self.read.append(job)
        heat = curve("heatsink", [self._heat_c[job]] * 20)
        key = curve("key", [0.0, 0.0] + [1.0] * 18)
        return CurvesView(job=job, from_s=0, to_s=600, frames=20, curves=[heat, key])


def test_the_band_is_the_10th_to_90th_percentile_of_the_good_ones() -> None:
    """Against numpy's own percentile of the units' steady heat; one that failed has no part in it."""
    heat_c = {n: 40.0 + n for n in range(1, 9)}
    heat_c[5] = 99.0
    shelf = Shelf([job(n, "fail" if n == 5 else "pass") for n in range(1, 10)], heat_c)
    band = Bands(lambda: shelf).band(9, "heatsink")
    good = [heat_c[n] for n in (1, 2, 3, 4, 6, 7, 8)]
    assert band.jobs == [1, 2, 3, 4, 6, 7, 8]
    assert band.at_s[:3] == [-30.0, 30.0, 90.0]  # aligned at key-on, which came after a minute
    for values, q in ((band.low, 10), (band.mid, 50), (band.high, 90)):
        assert values == pytest.approx([np.percentile(good, q)] * len(band.at_s), abs=1e-4)


def test_percentiles_agree_with_a_published_rule() -> None:
    """Type 7 of Hyndman & Fan (1996): of 1, 2, 3, 4 the tenth is 1 + 0.1 x 3 = 1.3 and the ninetieth 3.7 (by hand)."""
    shelf = Shelf([job(n) for n in range(1, 6)], {1: 1.0, 2: 2.0, 3: 3.0, 4: 4.0})
    band = Bands(lambda: shelf).band(5, "heatsink")
    assert (band.low[0], band.mid[0], band.high[0]) == (1.3, 2.5, 3.7)


def test_of_two_units_no_band_is_made_and_none_of_another_kind_of_plan() -> None:
    """Two curves are two curves; a longer plan heats further."""
    shelf = Shelf([job(1), job(2), job(3, minutes=20), job(4, verdict=None), job(5)], dict.fromkeys(range(1, 6), 40.0))
    band = Bands(lambda: shelf).band(5, "heatsink")
    assert band.jobs == [1, 2]
    assert band.at_s == band.low == []


def test_those_that_are_compared_and_those_that_came_later_are_left_out() -> None:
    """A unit is not measured against itself."""
    shelf = Shelf([job(n) for n in range(1, 9)], {n: 40.0 for n in range(1, 9)})
    assert Bands(lambda: shelf).band(6, "heatsink", without=[2]).jobs == [1, 3, 4, 5]
    assert not earlier_good(job(8), job(6))


def test_a_soak_that_is_over_is_read_once() -> None:
    """It changes no more."""
    shelf = Shelf([job(n) for n in range(1, 6)], {n: 40.0 for n in range(1, 6)})
    bands = Bands(lambda: shelf)
    bands.band(5, "heatsink")
    bands.band(5, "drain-1")
    assert sorted(shelf.read) == [1, 2, 3, 4]


def test_key_on_is_the_nodes_own_word_or_else_the_plans() -> None:
    """A node that does not say whether it is keyed is taken to follow the plan."""
    said = CurvesView(job=1, from_s=0, to_s=9, frames=3, curves=[curve("key", [0.0, None, 1.0], 4.0)])
    silent = CurvesView(job=1, from_s=0, to_s=9, frames=3, curves=[])
    assert key_on_s(job(1), said) == 8.0
    assert key_on_s(job(1), silent) == 60.0


@given(st.lists(st.one_of(st.none(), st.floats(-50, 200)), max_size=60), st.floats(0, 600))
def test_a_minutes_mean_lies_between_its_least_and_greatest(values: list[float | None], zero_s: float) -> None:
    """And a minute without a reading has none."""
    known = [v for v in values if v is not None]
    minutes = by_minute(curve("heatsink", values), zero_s)
    assert bool(minutes) == bool(known)
    assert all(min(known) - 1e-6 <= mean <= max(known) + 1e-6 for mean in minutes.values())
