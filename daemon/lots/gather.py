"""The soaks of each lot, from the catalog: the newest of each unit, in the order in which they were run."""

from collections.abc import Iterable

from daemon.api.booking_models import BookingView
from daemon.api.lot_models import Heat, LotView
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
    by_lot: dict[Key, list[JobView]] = {}
    for (key, _), job in sorted(newest.items(), key=lambda item: item[1].started_ns):
        by_lot.setdefault(key, []).append(job)
    views = [
        judge(*key, [_unit(job) for job in of_lot]).model_copy(update={"heat": heat(of_lot)})
        for key, of_lot in by_lot.items()
    ]
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
    cases = [value for i in (1, 2, 3, 4) if (value := figures.get(f"case_{i}_k_per_w")) is not None]
    if cases:
        figures["case_k_per_w"] = max(cases)  # the worst device of the unit
    return Unit(job.job, job.unit, job.verdict == "pass", figures)


def heat(jobs: Iterable[JobView]) -> Heat | None:
    """Time at temperature of the good ones, by the newest soak's activation energy and service temperature.

    Soaks that were told by others can't be added to it, and are left out. None where there is none.
    """
    good = [job for job in jobs if job.verdict == "pass" and job.figures.get("heat_equivalent_s")]
    if not good:
        return None
    terms = [(job.limits.get("service_c"), job.limits.get("activation_ev")) for job in good]
    service_c, activation_ev = terms[-1]
    seconds = [
        job.figures["heat_equivalent_s"] or 0.0 for job, own in zip(good, terms, strict=True) if own == terms[-1]
    ]
    if service_c is None or activation_ev is None:
        return None
    return Heat(
        units=len(seconds),
        service_c=service_c,
        activation_ev=activation_ev,
        least_s=min(seconds),
        most_s=max(seconds),
        total_s=sum(seconds),
    )
