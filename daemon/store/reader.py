"""What is kept, for reading."""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import RowMapping

from daemon.api.models import CurvesView, JobView, PlanView, Tag, WaitView
from daemon.errors import BadFile, NoSuch, StoreUnfit
from daemon.plan import Plan
from daemon.store import curves as thinning
from daemon.store.alerts import AlertReader
from daemon.store.buckets import SERIES
from daemon.store.catalog import CatalogReader
from daemon.store.frames import FrameReader, Readings
from daemon.store.seals import Seal, Seals
from daemon.store.tables import CALIBRATION
from daemon.store.zoom import Drawn, drawn
from sensors.types import CHANNELS, Frame

CATALOG, FRAMES = "catalog.sqlite", "frames.sqlite"
#: of a job's row in the catalog, what goes with its readings wherever they go
FACTS = (
    *("job", "number", "unit", "bay", "plan_name", "plan_text", "limits"),
    *("started_ns", "ended_ns", "verdict", "reasons", "figures"),
)
#: thirty years; no soak is as long
LONGEST_S = 1e9


class Reader:
    """What is kept in ``folder``, to read; from any thread, and also while another process writes.

    Raises StoreUnfit when there is no store, and later when a file can't be read.
    """

    def __init__(self, folder: Path) -> None:
        for name in (CATALOG, FRAMES):
            if not (folder / name).is_file():
                raise StoreUnfit(folder, f"holds no readings of keysoak: {name} is missing")
        self._catalog = CatalogReader(folder / CATALOG)
        self._frames = FrameReader(folder / FRAMES)
        self.alerts = AlertReader(self._catalog.ask)
        self.seals = Seals(folder, self._catalog)

    def jobs(self, most: int = 500) -> list[JobView]:
        """The newest jobs first."""
        rows = self._catalog.jobs(most)
        if not rows:
            return []
        between = rows[-1]["job"], rows[0]["job"]
        tags, waits, seals = self._catalog.tags(*between), self._catalog.waits(*between), self.seals.of(*between)
        return [_view(row, tags.get(n, []), waits.get(n, []), seals.get(n)) for row in rows for n in (row["job"],)]

    def job(self, job: int) -> JobView:
        """One job; raises NoSuch."""
        waits = self._catalog.waits(job, job).get(job, [])
        view = _view(self._row(job), self._tags(job), waits, self.seals.of(job, job).get(job))
        if view.ended_ns is not None:
            view.calibrated_since = self._calibrated_since(view)
        return view

    def facts(self, job: int) -> dict[str, Any]:
        """What is known of a job but its readings, as JSON has it; raises NoSuch."""
        row = self._row(job)
        tags = [tag.model_dump() for tag in self._tags(job)]
        waits = [wait.model_dump() for wait in self._catalog.waits(job, job).get(job, [])]
        facts = {name: row[name] for name in FACTS} | {"zero_ns": self.zero_ns(job), "findings": tags}
        return facts | ({"waits": waits} if waits else {})

    def parquet(self, job: int) -> Iterator[tuple[bytes, int]]:
        """A job as a Parquet file, piece by piece, each with how many frames are in it so far; raises NoSuch."""
        from daemon.store import parquet  # noqa: PLC0415  a quarter of a second and 60 MB that a daemon never needs

        return parquet.pieces(self.job_frames(job), self.zero_ns(job), self.facts(job))

    def findings(self, job: int) -> list[Tag]:
        """The findings of a job in the order in which they were put; raises NoSuch."""
        self._row(job)
        return self._tags(job)

    def frames(self, bay: str, from_ns: int, to_ns: int) -> Iterator[Frame]:
        """Frames of a bay by sample time, both ends included, in soaks and between them."""
        return self._frames.frames(bay, from_ns, to_ns)

    def job_frames(self, job: int) -> Iterator[Frame]:
        """Frames of a job by sample time; raises NoSuch."""
        self._row(job)
        span = self._frames.span(job)
        return self._frames.frames(span.bay, span.first_ns, span.last_ns, job) if span else iter(())

    def readings(self, job: int) -> Iterator[Readings]:
        """What the frames of a job read, as columns, part by part by sample time; raises NoSuch.

        From its sealed file where that is good: of a day at 10 Hz four seconds sooner than from the frames.
        """
        self._row(job)
        if (sealed := self.seals.good(job)) is not None:
            from daemon.store import parquet  # noqa: PLC0415  as above

            return parquet.readings(sealed)
        span = self._frames.span(job)
        return self._frames.readings(span) if span else iter(())

    def zero_ns(self, job: int) -> int:
        """The job's start on the clock that stamps its frames, UTC nanoseconds; raises NoSuch."""
        row = self._row(job)
        span = self._frames.span(job)
        return span.zero_ns if span else int(row["started_ns"])

    def curves(
        self, job: int, from_s: float | None = None, to_s: float | None = None, points: int = 1000
    ) -> CurvesView:
        """The channels of a job that have any value between two moments, both included, and its SWR.

        A channel has at most ``points`` points (16 where fewer are asked for): first and last, the least and the
        greatest of every part, and None where readings are missing. Raises NoSuch.
        """
        found = self._drawn(job, (from_s, to_s), points, SERIES)
        return CurvesView(
            job=job,
            from_s=from_s if from_s is not None else 0.0,
            to_s=to_s if to_s is not None else found.last_s,
            frames=found.frames,
            curves=[thinning.curve(name, *line) for name, line in found.lines.items()],
        )

    def strip(self, job: int, points: int = 400) -> list[tuple[float, float]]:
        """(elapsed_s, heatsink_c) of a job, at most ``points``; raises NoSuch."""
        kept_s, kept_c = self._drawn(job, (None, None), points, CHANNELS[:1]).lines.get(CHANNELS[0], thinning.NO_LINE)
        pairs = zip(kept_s.tolist(), kept_c.tolist(), strict=True)
        return [(t, c) for t, c in pairs if c == c]  # noqa: PLR0124  nan

    def _drawn(
        self, job: int, between_s: tuple[float | None, float | None], points: int, series: Sequence[str]
    ) -> Drawn:
        self._row(job)
        span = self._frames.span(job)
        if span is None:
            return Drawn(0, 0.0, {})
        from_s, to_s = between_s
        from_ns = span.first_ns if from_s is None else max(span.first_ns, span.zero_ns + _nanos(from_s))
        to_ns = span.last_ns if to_s is None else min(span.last_ns, span.zero_ns + _nanos(to_s))
        return drawn(self._frames, (span, from_ns, to_ns), points, series)

    def _row(self, job: int) -> RowMapping:
        row = self._catalog.job(job)
        if row is None:
            raise NoSuch("job", job, [str(known) for known in self._catalog.numbers()])
        return row

    def _calibrated_since(self, view: JobView) -> dict[str, int]:
        newest = sa.select(CALIBRATION.c.channel, sa.func.max(CALIBRATION.c.id).label("id"))
        rows = self._catalog.ask(newest.where(CALIBRATION.c.bay == view.bay).group_by(CALIBRATION.c.channel))
        return {row["channel"]: row["id"] for row in rows if row["id"] not in view.calibrations}

    def _tags(self, job: int) -> list[Tag]:
        return self._catalog.tags(job, job).get(job, [])


def _nanos(seconds: float) -> int:
    # clamped: a moment may be asked for that no 64 bits can hold
    return round(max(-LONGEST_S, min(seconds, LONGEST_S)) * 1e9)


@lru_cache(maxsize=256)
def _plan(name: str, text: str) -> PlanView:
    try:
        return Plan.from_toml(text).view()
    except BadFile:
        # written by another version: the job must still be readable
        return PlanView(name=name, total_s=0.0, phases=[])


def _view(row: RowMapping, tags: list[Tag], waits: list[WaitView], seal: Seal | None) -> JobView:
    same: dict[str, Any] = {name: row[name] for name in JobView.model_fields if name in row}
    plan = _plan(row["plan_name"], row["plan_text"])
    limits = {name: value for name, value in row["limits"].items() if value is not None}
    return JobView.model_validate(
        same
        | {"plan": plan, "limits": limits, "tags": tags, "waits": waits, "sealed_sha256": seal and seal.sha256}
        | {"calibrations": row["calibrations"] or []}
    )
