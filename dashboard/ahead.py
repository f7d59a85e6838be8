"""What a page will ask for, asked while the page itself is still on its way to the browser."""

import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from threading import Lock
from typing import Any

from daemon.api.client import Client
from daemon.api.models import CurvesView, JobView

#: about one a pixel of a wide screen; the API keeps the least and greatest of every part
POINTS = 1200
#: a page's scripts come within this, or somebody has gone elsewhere
KEPT_S = 5.0
MOST_KEPT = 32
_AT_ONCE = 4


class Ahead(Client):
    """A client that can be told beforehand which job is going to be asked for; each early answer serves once."""

    def __init__(self, url: str, timeout_s: float = 3.0) -> None:
        super().__init__(url, timeout_s)
        self._lock = Lock()
        self._begun: dict[tuple[str, int], tuple[float, Future[Any]]] = {}
        self._ended: dict[int, JobView] = {}
        self._threads = ThreadPoolExecutor(_AT_ONCE, thread_name_prefix="ahead")

    def close(self) -> None:
        """Let the threads and the connections go."""
        self._threads.shutdown(cancel_futures=True)
        super().close()

    def begin(self, job: int) -> list[Future[Any]]:
        """Somebody opens the page of a job; never blocks. What is on its way now."""
        whole: Callable[[int], CurvesView] = lambda n: super(Ahead, self).curves(n, None, None, POINTS)  # noqa: E731
        now_s = time.monotonic()
        with self._lock:
            self._begun = {key: one for key, one in self._begun.items() if now_s - one[0] < KEPT_S}
            if len(self._begun) < MOST_KEPT:
                self._begun["curves", job] = now_s, self._threads.submit(whole, job)
                self._begun["job", job] = now_s, self._threads.submit(super().job, job)
            return [early for _, early in self._begun.values()]

    def job(self, job: int) -> JobView:
        """One soak."""
        early: Future[JobView] | None = self._early("job", job)
        found = early.result() if early else super().job(job)
        with self._lock:
            self._ended.pop(job, None)
            if found.ended_ns is not None:
                self._ended[job] = found
            if len(self._ended) > MOST_KEPT:
                del self._ended[next(iter(self._ended))]
        return found

    def as_drawn(self, job: int) -> JobView:
        """One soak as far as its chart shows it: of one that has ended, what was heard last of it."""
        with self._lock:
            known = self._ended.get(job)
        return known or self.job(job)

    def curves(
        self, job: int, from_s: float | None = None, to_s: float | None = None, points: int = 2000
    ) -> CurvesView:
        """The curves of a soak between two moments, thinned to about ``points`` a channel."""
        whole = (from_s, to_s, points) == (None, None, POINTS)
        early: Future[CurvesView] | None = self._early("curves", job) if whole else None
        return early.result() if early else super().curves(job, from_s, to_s, points)

    def _early(self, what: str, job: int) -> Future[Any] | None:
        with self._lock:
            begun_s, early = self._begun.pop((what, job), (0.0, None))
        return early if time.monotonic() - begun_s < KEPT_S else None
