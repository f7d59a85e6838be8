"""A job's certificate from what is kept: for the API and the command line."""

import hashlib
import threading
import time
from collections.abc import Sequence
from pathlib import Path

from daemon.api.models import CurvesView, PlanView
from daemon.booking.kept import Bookings
from daemon.calibration.certified import of_job
from daemon.calibration.kept import Calibrations
from daemon.certificate import chart as strip
from daemon.certificate import ledger, page, paper
from daemon.certificate.facts import Calibration, Facts, Workshop
from daemon.certificate.gather import gather
from daemon.certificate.mark import Mark, read_mark
from daemon.config import WorkshopTable
from daemon.store import Reader
from daemon.store.reader import CATALOG

#: a day of readings is sealed within some ten seconds of its end on a quiet machine; who asks before that waits for it,
#: no longer than a caller's patience, and later than so long after the end nobody waits any more
WAIT_S, SOON_S = 30.0, 120.0
_LOOK_S = 0.1


def warm_up() -> None:
    """Draw once for nobody, with all fonts at hand: the first drawing takes longer than the others take in all."""
    nothing = CurvesView(job=0, from_s=0.0, to_s=1.0, frames=0, curves=[])
    strip.draw(nothing, PlanView(name="none", total_s=1.0, phases=[]), None)
    paper.fonts()


class Certificates:
    """Makes certificates of the jobs in ``folder``, from any thread, one at a time: half a second of a processor each.

    One of a soak that has just ended waits for its readings to be sealed, so that it can be verified; where that does
    not come, it says on its face that they were not. All raise NoSuch, Refused while the job runs, StoreUnfit, BadFile
    for the mark, CertificateFailed.
    """

    def __init__(self, folder: Path, workshop: WorkshopTable) -> None:
        self._folder = folder
        self._reader = Reader(folder)
        self._bookings = Bookings(folder / CATALOG)
        self._calibrations = Calibrations(folder / CATALOG)
        self._workshop = workshop
        self._one = threading.Lock()

    def pdf(self, job: int, calibrations: Sequence[Calibration] = ()) -> bytes:
        """The certificate on paper."""
        self._await_seal(job)
        with self._one:
            facts, drawn, mark = self._of(job, calibrations)
            made = paper.pdf(facts, drawn, mark)
        sha256 = hashlib.sha256(made).hexdigest()
        sealed = facts.sealed.sha256 if facts.sealed else None
        ledger.keep(self._folder, ledger.Made(sha256, job, facts.made_ns, facts.verdict, sealed))
        return made

    def html(self, job: int, calibrations: Sequence[Calibration] = ()) -> bytes:
        """The certificate as a page."""
        self._await_seal(job)
        with self._one:
            return page.html(*self._of(job, calibrations))

    def _await_seal(self, job: int) -> None:
        ended_ns = self._reader.job(job).ended_ns
        if ended_ns is None or not 0 <= time.time_ns() - ended_ns < SOON_S * 1e9:
            return
        until_s = time.monotonic() + WAIT_S
        while job not in self._reader.seals.of(job, job) and time.monotonic() < until_s:
            time.sleep(_LOOK_S)

    def _of(self, job: int, calibrations: Sequence[Calibration]) -> tuple[Facts, str, Mark | None]:
        workshop = Workshop(name=self._workshop.name)
        known = calibrations or of_job(self._calibrations, self._reader.job(job))
        facts = gather(self._reader, self._bookings, job, workshop, calibrations=known)
        curves = self._reader.curves(job, points=strip.POINTS)
        marks = [strip.Mark(i, one.at_s, one.unkeyed) for i, one in enumerate(facts.happened, 1)]
        drawn = strip.draw(curves, facts.run, facts.limits.get("heatsink_c"), marks)
        return facts, drawn, None if self._workshop.mark is None else read_mark(self._workshop.mark)
