"""The store as the rest of the daemon sees it (signatures first; the insides follow)."""

from collections.abc import Iterator
from pathlib import Path

from daemon.api.models import CurvesView, JobView, Tag
from daemon.store.items import Item
from sensors.types import Frame


class Reader:
    """What is kept in ``folder``, to read; from any thread, also while another process writes."""

    def __init__(self, folder: Path) -> None:
        raise NotImplementedError

    def jobs(self, most: int = 500) -> list[JobView]:
        """The newest jobs first."""
        raise NotImplementedError

    def job(self, job: int) -> JobView:
        """One job; raises NoSuch."""
        raise NotImplementedError

    def findings(self, job: int) -> list[Tag]:
        """The findings of a job in the order in which they were put."""
        raise NotImplementedError

    def frames(self, bay: str, from_ns: int, to_ns: int) -> Iterator[Frame]:
        """Frames of a bay by sample time, both ends included."""
        raise NotImplementedError

    def job_frames(self, job: int) -> Iterator[Frame]:
        """Frames of a job by sample time; raises NoSuch."""
        raise NotImplementedError

    def curves(
        self, job: int, from_s: float | None = None, to_s: float | None = None, points: int = 1000
    ) -> CurvesView:
        """Curves of a job, at most ``points`` a channel; raises NoSuch."""
        raise NotImplementedError

    def strip(self, job: int, points: int = 400) -> list[tuple[float, float]]:
        """(elapsed_s, heatsink_c) of a job, thinned; raises NoSuch."""
        raise NotImplementedError


class Store(Reader):
    """The one writer of a folder; made once in the daemon, closed at its end (also a context manager)."""

    def put(self, item: Item) -> None:
        """Hand over something to keep; never blocks, never raises."""
        raise NotImplementedError

    def next_job(self) -> int:
        """A job number that no job in this store has had."""
        raise NotImplementedError

    @property
    def behind(self) -> int:
        """How many items wait to be committed."""
        raise NotImplementedError

    @property
    def dropped(self) -> int:
        """How many items could not be kept since the store was opened."""
        raise NotImplementedError

    @property
    def error(self) -> str:
        """What keeps the store from keeping, as a sentence for a person; empty when all is well."""
        raise NotImplementedError

    def flush(self, timeout_s: float = 10.0) -> None:
        """Wait until everything put so far is on disk; raises StoreBehind."""
        raise NotImplementedError

    def close(self) -> None:
        """Commit what waits and stop."""
        raise NotImplementedError
