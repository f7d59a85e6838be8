"""What is kept, for reading."""

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

from sqlalchemy import RowMapping

from daemon.api.models import CurvesView, JobView, PlanView, Tag
from daemon.errors import BadFile, NoSuch, StoreUnfit
from daemon.plan import Plan
from daemon.store import curves as thinning
from daemon.store.alerts import AlertReader
from daemon.store.catalog import CatalogReader
from daemon.store.frames import Floats, FrameReader
from sensors.types import CHANNELS, Frame

CATALOG, FRAMES = "catalog.sqlite", "frames.sqlite"


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

    def jobs(self, most: int = 500) -> list[JobView]:
        """The newest jobs first."""
        rows = self._catalog.jobs(most)
        tags = self._catalog.tags(rows[-1]["job"], rows[0]["job"]) if rows else {}
        return [_view(row, tags.get(row["job"], [])) for row in rows]

    def job(self, job: int) -> JobView:
        """One job; raises NoSuch."""
        return _view(self._row(job), self._tags(job))

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

    def zero_ns(self, job: int) -> int:
        """The job's start on the clock that stamps its frames, UTC nanoseconds; raises NoSuch."""
        row = self._row(job)
        span = self._frames.span(job)
        return span.zero_ns if span else int(row["started_ns"])

    def curves(
        self, job: int, from_s: float | None = None, to_s: float | None = None, points: int = 1000
    ) -> CurvesView:
        """The channels of a job that have any value between two moments, both included.

        A channel has at most ``points`` points (16 where fewer are asked for): first and last, the least and the
        greatest of every part, and None where readings are missing. Raises NoSuch.
        """
        at_s, columns, frames = self._columns(job, from_s, to_s, CHANNELS)
        return CurvesView(
            job=job,
            from_s=from_s if from_s is not None else 0.0,
            to_s=to_s if to_s is not None else float(at_s[-1]) if len(at_s) else 0.0,
            frames=frames,
            curves=[thinning.curve(name, at_s, values, points) for name, values in columns.items()],
        )

    def strip(self, job: int, points: int = 400) -> list[tuple[float, float]]:
        """(elapsed_s, heatsink_c) of a job, at most ``points``; raises NoSuch."""
        at_s, columns, _ = self._columns(job, None, None, CHANNELS[:1])
        if not columns:
            return []
        kept_s, kept_c = thinning.thin(at_s, columns[CHANNELS[0]], points)
        pairs = zip(kept_s.tolist(), kept_c.tolist(), strict=True)
        return [(t, c) for t, c in pairs if c == c]  # noqa: PLR0124  nan

    def _columns(
        self, job: int, from_s: float | None, to_s: float | None, channels: tuple[str, ...]
    ) -> tuple[Floats, dict[str, Floats], int]:
        self._row(job)
        span = self._frames.span(job)
        if span is None:
            return thinning.NOTHING, {}, 0
        from_ns = span.first_ns if from_s is None else span.zero_ns + round(from_s * 1e9)
        to_ns = span.last_ns if to_s is None else span.zero_ns + round(to_s * 1e9)
        times_ns, columns = self._frames.columns(span, from_ns, to_ns, channels)
        at_s = thinning.elapsed(times_ns, span.zero_ns)
        return (*thinning.open_silences(at_s, columns), len(times_ns))

    def _row(self, job: int) -> RowMapping:
        row = self._catalog.job(job)
        if row is None:
            raise NoSuch("job", job, [str(known) for known in self._catalog.numbers()])
        return row

    def _tags(self, job: int) -> list[Tag]:
        return self._catalog.tags(job, job).get(job, [])


@lru_cache(maxsize=256)
def _plan(name: str, text: str) -> PlanView:
    try:
        return Plan.from_toml(text).view()
    except BadFile:
        # written by another version: the job must still be readable
        return PlanView(name=name, total_s=0.0, phases=[])


def _view(row: RowMapping, tags: list[Tag]) -> JobView:
    same: dict[str, Any] = {name: row[name] for name in JobView.model_fields if name in row}
    plan = _plan(row["plan_name"], row["plan_text"])
    limits = {name: value for name, value in row["limits"].items() if value is not None}
    return JobView.model_validate(same | {"plan": plan, "limits": limits, "tags": tags})
