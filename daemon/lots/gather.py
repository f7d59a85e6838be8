"""The soaks of each lot, from the catalog: the newest of each unit, in the order in which they were run."""

from collections.abc import Iterable

from daemon.api.booking_models import BookingView
from daemon.api.lot_models import LotView
from daemon.api.models import JobView
from daemon.lots.bands import Unit, judge

Key = tuple[str, str, str]


def lots(jobs: Iterable[JobView], bookings: dict[int, BookingView]) -> list[LotView]:
    """One view a lot, the largest first. Units that were not booked in are taken by their plan alone."""
    newest: dict[tuple[Key, str], JobView] = {}
    for job in sorted(jobs, key=lambda j: j.started_ns):
        if job.ended_ns is None or job.verdict is None:
            continue
        booked = bookings.get(job.booking) if job.booking is not None else None
        key = _key(job, booked)
        # a unit that was mended and soaked again counts once, as it is now
        newest[key, job.unit or f"job {job.job}"] = job
    by_lot: dict[Key, list[Unit]] = {}
    for (key, _), job in sorted(newest.items(), key=lambda item: item[1].started_ns):
        by_lot.setdefault(key, []).append(_unit(job))
    views = [judge(*key, units) for key, units in by_lot.items()]
    return sorted(views, key=lambda view: (-view.units, view.kind, view.device_type, view.lot))


def _key(job: JobView, booked: BookingView | None) -> Key:
    if booked is None:
        return (f"not booked in; plan {job.plan.name}", "", "")
    return (booked.kind or f"plan {job.plan.name}", booked.fitted.type, booked.fitted.lot)


def _unit(job: JobView) -> Unit:
    figures = {name: value for name, value in job.figures.items() if value is not None}
    forward_w, drawn = figures.get("forward_mean_w"), [figures.get(f"drain_{i}_max_a", 0.0) for i in (1, 2, 3, 4)]
    if forward_w and sum(drawn) > 0:
        figures["watts_per_ampere_w_a"] = forward_w / sum(drawn)
    return Unit(job.job, job.unit, job.verdict == "pass", figures)
