"""``over-current``: total or single drain current over its limit; the shortest dwell of all."""

from collections.abc import Sequence
from typing import ClassVar

from alerts.types import JUDGING, Finding, Priority, Situation, Standing, not_applicable, not_yet
from alerts.watch import NOTHING, Step, Terms, Watch, ampere, sentence
from sensors.types import CHANNELS, DRAINS, NAN, Frame

#: a current must fall this part under its limit to be normal again; common practice, no source
_DEADBAND_RATIO = 0.05


class OverCurrent:
    """Goes straight to a trip: a device that draws too much has seconds."""

    name: ClassVar[str] = "over-current"

    def __init__(self, terms: Terms) -> None:
        limits = terms.limits
        self._estimates = terms.estimates
        self._total_a = limits.total_a
        self._total = _watch(terms, "total", "total drain current", limits.total_a)
        self._devices = {
            i: _watch(terms, CHANNELS[i], f"{CHANNELS[i]} current", limits.device_a)
            for i in range(DRAINS.start, DRAINS.stop)
        }
        self._frames = 0
        self._judging = False

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame."""
        self._frames += 1
        currents = self._estimates.currents
        if not currents:
            return NOTHING
        clock_s, time_ns, sample_s = frame.clock_s, frame.time_ns, now.sample_s
        said = NOTHING
        total_a, whole = 0.0, True
        for i, a in zip(self._estimates.drains.known, currents, strict=True):
            if a != a:  # noqa: PLR0124  nan
                whole = False
                continue
            total_a += a
            # a lone drain-1 may be the radio's whole current (the contract): the limit for the total is its limit
            if len(currents) > 1:
                found = self._devices[i].judge(a, clock_s, time_ns, sample_s)
                if found:
                    said = [*said, *found]
        self._judging = self._judging or whole
        # a part of the currents can prove the total too great, never that it is not
        if not whole and total_a <= self._total_a:
            total_a = NAN
        found = self._total.judge(total_a, clock_s, time_ns, sample_s)
        return [*said, *found] if found else said

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no current: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Judges from the first frame with all drain currents on."""
        if self._judging:
            return JUDGING
        if self._frames and not self._estimates.drains_known:
            return not_applicable("no drain current is measured")
        return not_yet("no drain current has come")


def _watch(terms: Terms, subject: str, what: str, limit_a: float) -> Watch:
    limits = terms.limits
    look = "look at the bias setting, the drive level and the load, then at the device itself"
    return Watch(
        terms,
        OverCurrent.name,
        subject,
        unit="A",
        steps=[Step(Priority.TRIP, limit_a, limits.over_current_dwell_s)],
        tell=sentence(what, ampere, look),
        deadband=limit_a * _DEADBAND_RATIO,
    )
