"""Soaks on one time axis: from key-on, and by their plan's own time where a plan stood still for a person.

A job's readings and alerts are kept by seconds since its start; its plan's time stands still while it waits.
"""

import time
from collections.abc import Iterator, Sequence

from daemon.api.models import Curve, CurvesView, JobView, PhaseView, PlanView, WaitView

#: the drive, in a plan as it was run, of a stretch in which nothing was driven and the plan stood still
WAITED = "waited"


class PlanTime:
    """A job's plan's time against seconds since its start. A wait that has no end lasts until ``now_s``."""

    def __init__(self, waits: Sequence[WaitView], now_s: float) -> None:
        self.waits = [(w.at_s, max(w.at_s, now_s if w.until_s is None else w.until_s)) for w in waits]

    @classmethod
    def of(cls, job: JobView) -> "PlanTime":
        """That of a job, as far as it has come."""
        return cls(job.waits, lasted_s(job))

    def since_start_s(self, plan_s: float) -> float:
        """When the plan was at ``plan_s``; at the end of a wait there, not at its beginning."""
        for at_s, until_s in self.waits:
            if plan_s < at_s:
                break
            plan_s += until_s - at_s
        return plan_s

    def plan_s(self, since_start_s: float) -> float | None:
        """Where the plan was then; None while it stood still."""
        waited_s = 0.0
        for at_s, until_s in self.waits:
            if since_start_s < at_s:
                break
            if since_start_s < until_s:
                return None
            waited_s += until_s - at_s
        return since_start_s - waited_s


def lasted_s(job: JobView) -> float:
    """How long a soak has lasted, or has lasted until now."""
    return ((time.time_ns() if job.ended_ns is None else job.ended_ns) - job.started_ns) / 1e9


def as_run(plan: PlanView, waits: Sequence[WaitView], now_s: float) -> PlanView:
    """The plan by seconds since the start: what stood still is a phase of its own, with the drive ``waited``."""
    if not waits:
        return plan
    phases = list(_as_run(plan, PlanTime(waits, now_s)))
    return plan.model_copy(update={"phases": phases, "total_s": phases[-1].end_s})


def _as_run(plan: PlanView, stood: PlanTime) -> Iterator[PhaseView]:
    late_s, waits = 0.0, list(stood.waits)
    for phase in plan.phases:
        # a plan stands still at the first instant of a phase alone
        while waits and waits[0][0] <= phase.start_s + late_s + 1e-3:
            at_s, until_s = waits.pop(0)
            yield PhaseView(drive=WAITED, start_s=at_s, end_s=until_s, ask=phase.ask)
            late_s += until_s - at_s
        yield phase.model_copy(update={"start_s": phase.start_s + late_s, "end_s": phase.end_s + late_s})


def in_plan_time(curves: CurvesView, job: JobView) -> CurvesView:
    """Curves by their plan's time; what was read while it stood still is left out."""
    if not job.waits:
        return curves
    stood = PlanTime.of(job)
    return curves.model_copy(update={"curves": [_in_plan_time(curve, stood) for curve in curves.curves]})


def _in_plan_time(curve: Curve, stood: PlanTime) -> Curve:
    found = [(at, v) for s, v in zip(curve.at_s, curve.value, strict=True) if (at := stood.plan_s(s)) is not None]
    return curve.model_copy(update={"at_s": [at for at, _ in found], "value": [v for _, v in found]})


def key_on_s(job: JobView, curves: CurvesView) -> float:
    """When the radio was first keyed, on the time axis of ``curves``: by the node's own word, else by the plan."""
    key = next((c for c in curves.curves if c.channel == "key"), None)
    if key is not None:
        for at_s, value in zip(key.at_s, key.value, strict=True):
            if value is not None and value >= 0.5:
                return at_s
    return next((phase.start_s for phase in job.plan.phases if phase.drive != "off"), 0.0)
