"""What a bay has to say, on its way to the store, the book of alerts and the log.

What is kept of a job is queued at once, since the queue's order says which frames are of it. Book and log come after:
no key waits for them.
"""

from collections.abc import Callable
from typing import Protocol

import structlog

from alerts.types import Event, Finding
from daemon.afterwards import Act
from daemon.alertbook import AlertBook
from daemon.soak import Begun, Ended, Waited
from daemon.store.items import FindingKept, Item, JobEnded, JobStarted, JobWaits

log = structlog.get_logger()


class Keeper(Protocol):
    """What is needed of the store; neither call may block."""

    def put(self, item: Item) -> None:
        """Queue something to be kept."""

    def next_job(self) -> int:
        """A job id that was never used."""


class StoreNotes:
    """Queues what a bay says for the store, hands it to the book of alerts, and tells the log what to read there.

    Without a ``book`` nobody is alerted: what is said is of a soak long past. ``later`` takes what can wait.
    """

    def __init__(
        self,
        store: Keeper,
        *,
        aloud: bool = True,
        book: AlertBook | None = None,
        later: Callable[[Act], None] = lambda act: act(),
    ) -> None:
        self._store = store
        self._book = book
        self._aloud = aloud
        self._later = later

    def begin(self, begun: Begun) -> None:
        """A soak has begun."""
        plan = begun.plan
        self._store.put(
            JobStarted(
                begun.job,
                begun.number,
                begun.unit,
                begun.bay,
                plan.name,
                begun.plan_text,
                plan.limits.model_dump(),
                begun.time_ns,
                begun.clock_s,
                begun.booking,
                begun.calibrations,
            )
        )
        self._later(lambda: self._begun(begun))

    def say(self, job: int, at_s: float, finding: Finding) -> None:
        """A rule has something to say."""
        if job:
            self._store.put(FindingKept(job, at_s, finding))
        self._later(lambda: self._said(job, finding))

    def wait(self, waited: Waited) -> None:
        """A plan stands still until a person has done what it asks, or goes on."""
        self._store.put(JobWaits(waited.job, waited.phase, waited.at_s, waited.until_s))

    def end(self, ended: Ended) -> None:
        """A soak is over."""
        self._store.put(JobEnded(ended.job, ended.time_ns, ended.verdict, ended.reasons, ended.figures))
        self._later(lambda: self._ended(ended))

    def _begun(self, begun: Begun) -> None:
        if self._book:
            self._book.begin(begun.bay)
        if self._aloud:
            log.info("soak begun", bay=begun.bay, job=begun.job, unit=begun.unit, plan=begun.plan.name)

    def _said(self, job: int, finding: Finding) -> None:
        if self._book:
            self._book.hear(job, finding)
        if self._aloud:
            tell = log.info if finding.event is Event.RETURNED else log.warning
            tell(finding.text, bay=finding.bay, rule=finding.rule, told=str(finding.event))

    def _ended(self, ended: Ended) -> None:
        if self._book:
            self._book.end(ended.bay)
        if self._aloud:
            log.info("soak ended", bay=ended.bay, job=ended.job, verdict=ended.verdict, reasons=ended.reasons)
