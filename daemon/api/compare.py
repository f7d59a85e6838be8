"""What earlier good units of the same kind did, as a band: by minute from key-on, their 10th to 90th percentile.

Percentiles are linear between order statistics (type 7 of Hyndman & Fan, The American Statistician 50 (1996) 361).
A minute's value is the mean of the store's thinned curve there, whose points are each part's least and greatest.
"""

import math
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from threading import Lock
from typing import Annotated, Protocol

import numpy as np
from fastapi import FastAPI, HTTPException, Query

from daemon.api.aligned import in_plan_time, key_on_s
from daemon.api.models import BandView, Curve, CurvesView, JobView, PlanView

#: of more units than this the newest are taken: their radios and their room are the most like today's
MOST_UNITS = 50
#: with fewer there is no band: two curves are just two curves
LEAST_UNITS = 3
POINTS_A_MINUTE = 10
MOST_KEPT = 2000

Minutes = Mapping[int, float]


class Kept(Protocol):
    """Where soaks are kept."""

    def jobs(self) -> list[JobView]:
        """The newest first."""

    def job(self, job: int) -> JobView:
        """One of them."""

    def curves(self, job: int, from_s: float | None, to_s: float | None, points: int) -> CurvesView:
        """Its curves."""


class Bands:
    """Computes bands; the minutes of each soak, which is over and changes no more, are computed once."""

    def __init__(self, kept: Callable[[], Kept]) -> None:
        self._kept = kept
        self._minutes: OrderedDict[int, Mapping[str, tuple[str, Minutes]]] = OrderedDict()
        self._lock = Lock()

    def band(self, job: int, channel: str, without: Sequence[int] = ()) -> BandView:
        """The band of ``channel`` over the good units that were soaked before ``job`` by the same plan."""
        here = self._kept().job(job)
        alike = [j for j in self._kept().jobs() if earlier_good(j, here) and j.job not in without][:MOST_UNITS]
        found = {j.job: self._of(j).get(channel) for j in alike}
        rows = {number: of for number, of in found.items() if of and of[1]}
        unit = next(iter(rows.values()))[0] if rows else ""
        return BandView(
            job=job, channel=channel, unit=unit, jobs=sorted(rows), **_percentiles([m for _, m in rows.values()])
        )

    def _of(self, job: JobView) -> Mapping[str, tuple[str, Minutes]]:
        with self._lock:
            if job.job in self._minutes:
                return self._minutes[job.job]
        lasted_s = (job.ended_ns or job.started_ns) / 1e9 - job.started_ns / 1e9
        points = min(20_000, max(600, round(lasted_s / 60 * POINTS_A_MINUTE)))
        curves = in_plan_time(self._kept().curves(job.job, None, None, points), job)
        zero_s = key_on_s(job, curves)
        made = {c.channel: (c.unit, by_minute(c, zero_s)) for c in curves.curves}
        with self._lock:
            self._minutes[job.job] = made
            while len(self._minutes) > MOST_KEPT:
                self._minutes.popitem(last=False)
        return made


def earlier_good(job: JobView, here: JobView) -> bool:
    """Whether ``job`` is a soak that passed before ``here`` began, by the same course of phases."""
    return job.verdict == "pass" and job.started_ns < here.started_ns and _course(job.plan) == _course(here.plan)


def _course(plan: PlanView) -> list[tuple[object, ...]]:
    return [(p.drive, p.start_s, p.end_s, p.on_s, p.off_s) for p in plan.phases]


def by_minute(curve: Curve, zero_s: float) -> Minutes:
    """The mean of a curve in every minute from ``zero_s`` on that has any value; the minutes before are negative."""
    sums: dict[int, tuple[float, int]] = {}
    for at_s, value in zip(curve.at_s, curve.value, strict=True):
        if value is not None:
            minute = math.floor((at_s - zero_s) / 60)
            total, count = sums.get(minute, (0.0, 0))
            sums[minute] = (total + value, count + 1)
    return {minute: total / count for minute, (total, count) in sums.items()}


def _percentiles(rows: Sequence[Minutes]) -> dict[str, list[float]]:
    shared = sorted(m for m in set().union(*rows) if sum(m in row for row in rows) >= LEAST_UNITS)
    table = np.array([[row.get(m, np.nan) for m in shared] for row in rows], np.float64).reshape(len(rows), len(shared))
    low, mid, high = np.nanpercentile(table, [10, 50, 90], axis=0) if shared else np.zeros((3, 0))
    return {
        "at_s": [60.0 * m + 30.0 for m in shared],
        "low": np.round(low, 4).tolist(),
        "mid": np.round(mid, 4).tolist(),
        "high": np.round(high, 4).tolist(),
    }


def add_compare(app: FastAPI, kept: Callable[[], Kept]) -> None:
    """Add the route ``/v1/jobs/{job}/band``."""
    bands = Bands(kept)

    @app.get("/v1/jobs/{job}/band")
    def band(
        job: int,
        channel: Annotated[str, Query(max_length=20)] = "heatsink",
        without: Annotated[str, Query(max_length=200)] = "",
    ) -> BandView:
        words = [word for word in without.split(",") if word]
        if not all(word.isascii() and word.isdigit() for word in words):
            raise HTTPException(422, "without: must be job numbers with commas between them")
        return bands.band(job, channel, [int(word) for word in words])
