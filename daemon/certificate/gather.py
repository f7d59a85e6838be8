"""Gathers the facts of a certificate from what is kept."""

import time
from collections.abc import Mapping, Sequence

import pyarrow as pa

from alerts import guard
from alerts.limits import Limits
from alerts.verdict import Outcome
from daemon.api.aligned import as_run, lasted_s
from daemon.api.booking_models import Sheet
from daemon.api.models import JobView, PlanView, Tag
from daemon.booking.kept import Bookings
from daemon.certificate.counted import Counted, count
from daemon.certificate.facts import (
    PROGRAM,
    Action,
    Calibration,
    Delivered,
    Facts,
    Figure,
    Happened,
    Sealed,
    Unit,
    Workshop,
)
from daemon.errors import NoSuch, Refused
from daemon.store import Reader

MOST_ACTIONS = 50


def gather(
    reader: Reader,
    bookings: Bookings | None,
    job: int,
    workshop: Workshop,
    *,
    calibrations: Sequence[Calibration] = (),
    now_ns: int | None = None,
) -> Facts:
    """The facts of a finished job; raises NoSuch, Refused while it runs, StoreUnfit.

    Where ``calibrations`` put a figure into the guard band, the certificate says incomplete, whatever was said live.
    """
    view = reader.job(job)
    if view.ended_ns is None or view.verdict is None:
        raise Refused(f"job {job} still runs: a certificate is made when its soak has ended")
    measured = {name: value for name, value in view.figures.items() if value is not None}
    expanded = guard.of_figures(measured, {c.channel: c.expanded for c in calibrations if c.expanded is not None})
    verdict, reasons = _verdict(view, guard.doubts(measured, view.limits, expanded))
    sealed, counted = _sealed(reader, view)
    zone = time.localtime(view.ended_ns / 1e9)
    return Facts(
        program=PROGRAM,
        made_ns=time.time_ns() if now_ns is None else now_ns,
        zone=zone.tm_zone,
        zone_offset_s=zone.tm_gmtoff,
        workshop=workshop,
        job=job,
        bay=view.bay,
        unit=_unit(view, bookings),
        plan=view.plan,
        waits=view.waits,
        started_ns=view.started_ns,
        ended_ns=view.ended_ns,
        verdict=verdict,
        reasons=reasons,
        figures=_figures(measured, view.limits, expanded),
        delivered=_delivered(view.plan, measured, counted, view.limits),
        limits=view.limits,
        calibrations=list(calibrations),
        calibrated_since=view.calibrated_since,
        happened=happened(view.tags),
        actions=_actions(reader, job),
        sealed=sealed,
    )


def _verdict(view: JobView, doubts: list[str]) -> tuple[str, list[str]]:
    if doubts and view.verdict == Outcome.PASS:
        return str(Outcome.INCOMPLETE), [*doubts, *view.reasons]
    return str(view.verdict), view.reasons


def _unit(view: JobView, bookings: Bookings | None) -> Unit:
    plain = Unit(number=view.number, unit=view.unit, booking=view.booking)
    if bookings is None or view.booking is None:
        return plain
    try:
        found = bookings.one(view.booking)
    except NoSuch:
        return plain
    sheet = Sheet(fitted=found.fitted, device=found.device, before=found.before, after=found.after)
    return plain.model_copy(update={"kind": found.kind, "serial": found.serial, "sheet": sheet})


def _figures(measured: Mapping[str, float], limits: Mapping[str, float], expanded: Mapping[str, float]) -> list[Figure]:
    judged = {one.figure: one for one in guard.judge(measured, limits, expanded)}
    found = []
    for name, value in measured.items():
        u = expanded.get(name)
        known = u if u is not None and u == u else None  # noqa: PLR0124  nan
        if (one := judged.get(name)) is None:
            found.append(Figure(name=name, value=value, expanded=known))
            continue
        bound = one.bound
        found.append(
            Figure(name=name, value=value, expanded=known, limit=bound.value, upper=bound.upper, ruling=str(one.ruling))
        )
    return found


def asked_s(plan: PlanView) -> float:
    """How long a plan asks for the key, in all."""
    total = 0.0
    for phase in plan.phases:
        whole = phase.end_s - phase.start_s
        if phase.drive == "off":
            continue
        if phase.on_s is None or phase.off_s is None:
            total += whole
            continue
        cycles, rest = divmod(whole, phase.on_s + phase.off_s)
        total += cycles * phase.on_s + min(rest, phase.on_s)
    return total


def _delivered(
    plan: PlanView, measured: Mapping[str, float], counted: Counted | None, limits: Mapping[str, float]
) -> Delivered:
    asked = asked_s(plan)
    if counted is None:
        drawn_j = measured.get("drawn_energy_j", measured.get("energy_j"))  # as older versions called it
        key_down_s, load_j = measured.get("key_down_s"), measured.get("rf_energy_j")
        heat_s = measured.get("heat_equivalent_s")
        return Delivered(key_down_s=key_down_s, asked_s=asked, drawn_j=drawn_j, load_j=load_j, heat_s=heat_s)
    return Delivered(
        key_down_s=counted.key_down_s,
        asked_s=asked,
        drawn_j=counted.drawn_j,
        load_j=counted.load_j,
        heat_s=counted.heat_s if "service_c" in limits else None,
        anew=True,
    )


def _sealed(reader: Reader, view: JobView) -> tuple[Sealed | None, Counted | None]:
    seal = reader.seals.of(view.job, view.job).get(view.job)
    if seal is None:
        return None, None
    path = reader.seals.good(view.job)
    name = reader.seals.path(view.job).name
    told = Sealed(file=name, sha256=seal.sha256, readings=seal.frames, intact=path is not None)
    if path is None:
        return told, None
    known = {name: value for name, value in view.limits.items() if name in Limits.model_fields}
    run = as_run(view.plan, view.waits, lasted_s(view))
    try:
        return told, count(path, Limits.model_validate(known), run)
    except (pa.ArrowException, OSError):  # sealed by a version with other columns: as it was counted live
        return told, None


def happened(tags: Sequence[Tag]) -> list[Happened]:
    """One entry an alert, in the order of time: its raising, its return and its unkeying put together."""
    found: list[Happened] = []
    for tag in tags:
        alike = [h for h in found if h.rule == tag.rule and h.returned_s is None]
        if tag.event == "returned":
            for one in alike:
                if one.priority == tag.priority:
                    one.returned_s = tag.at_s
                    break
            continue
        if tag.event == "trip" and (trips := [h for h in alike if h.priority == tag.priority]):
            trips[-1].unkeyed = True
            continue
        found.append(
            Happened(at_s=tag.at_s, rule=tag.rule, priority=tag.priority, text=tag.text, unkeyed=tag.event == "trip")
        )
    return found


def _actions(reader: Reader, job: int) -> list[Action]:
    alerts = {alert.id: alert for alert in reader.alerts.of_job(job)}
    done = [
        Action(time_ns=one.time_ns, rule=alerts[alert].rule, change=one.change, person=one.person, note=one.note)
        for alert, changes in reader.alerts.changes(alerts).items()
        for one in changes
        if one.person
    ]
    return sorted(done, key=lambda a: a.time_ns)[-MOST_ACTIONS:]
