"""A job's certificate from what is kept: for the API and the command line."""

import threading
from collections.abc import Sequence
from pathlib import Path

from daemon.booking.kept import Bookings
from daemon.calibration.certified import of_job
from daemon.calibration.kept import Calibrations
from daemon.certificate import chart as strip
from daemon.certificate import page, paper
from daemon.certificate.facts import Calibration, Facts, Workshop
from daemon.certificate.gather import gather
from daemon.certificate.mark import Mark, read_mark
from daemon.config import WorkshopTable
from daemon.store import Reader
from daemon.store.reader import CATALOG


class Certificates:
    """Makes certificates of the jobs in ``folder``, from any thread, one at a time: half a second of a processor each.

    All raise NoSuch, Refused while the job runs, StoreUnfit, BadFile for the mark, CertificateFailed.
    """

    def __init__(self, folder: Path, workshop: WorkshopTable) -> None:
        self._reader = Reader(folder)
        self._bookings = Bookings(folder / CATALOG)
        self._calibrations = Calibrations(folder / CATALOG)
        self._workshop = workshop
        self._one = threading.Lock()

    def pdf(self, job: int, calibrations: Sequence[Calibration] = ()) -> bytes:
        """The certificate on paper."""
        with self._one:
            return paper.pdf(*self._of(job, calibrations))

    def html(self, job: int, calibrations: Sequence[Calibration] = ()) -> bytes:
        """The certificate as a page."""
        with self._one:
            return page.html(*self._of(job, calibrations))

    def _of(self, job: int, calibrations: Sequence[Calibration]) -> tuple[Facts, str, Mark | None]:
        workshop = Workshop(name=self._workshop.name)
        known = calibrations or of_job(self._calibrations, self._reader.job(job))
        facts = gather(self._reader, self._bookings, job, workshop, calibrations=known)
        curves = self._reader.curves(job, points=strip.POINTS)
        marks = [strip.Mark(i, one.at_s, one.unkeyed) for i, one in enumerate(facts.happened, 1)]
        drawn = strip.draw(curves, facts.plan, facts.limits.get("heatsink_c"), marks)
        return facts, drawn, None if self._workshop.mark is None else read_mark(self._workshop.mark)
