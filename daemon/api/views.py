"""What the API says of live bays, built on the API's own thread from what the safety loop has published.

It only reads: a bay's lists grow at their end and its structs are replaced whole, so nothing here needs a lock that
the safety loop could wait for.
"""

import math
import time

import msgspec

from alerts.figures import Figures as Known
from daemon.api.calibration_models import CalibrationKind
from daemon.api.cone import cone
from daemon.api.models import BayLink, BayView, Figures, RackView, Reading, RuleStanding
from daemon.bay import Bay
from daemon.calibration.known import today
from daemon.loop import Rack
from sensors.rf import swr
from sensors.types import CHANNELS, DETECTED, DRAINS, FORWARD, HEATSINK, KEY, REFLECTED, SUPPLY, UNITS, Link, Quality


def rack_json(name: str, note: str, rack: Rack) -> bytes:
    """All bays as they stand now: a RackView, written bay by bay.

    Written whole, 64 bays hold the interpreter's lock for 5 ms in one C call, and the safety loop waits for it.
    """
    ages = rack.ages()
    bays = [
        msgspec.Raw(bay_view(bay, rack.link_of(bay.name), ages[bay.name]).model_dump_json().encode())
        for bay in rack.bays.values()
    ]
    unseen = rack.book.unseen if rack.book else 0
    view = RackView(rack=name, time_ns=time.time_ns(), note=note, bays=[], alerts_unacknowledged=unseen)
    return msgspec.json.encode(view.model_dump() | {"bays": bays})


def is_stale(bay: Bay, age_s: float | None) -> bool:
    """Whether a bay has been silent for so long that its figures are old."""
    return age_s is None or age_s > max(3 * bay.sample_s, 1.0)


def bay_view(bay: Bay, link: Link, age_s: float | None, *, whole: bool = True) -> BayView:
    """One bay as it stands now; ``age_s`` is the time since its last frame. Not ``whole``: without the strip's
    points, and without readings, rules and link, which are most of the work."""
    frame, course, strip, ended = bay.last, bay.course, bay.strip, bay.ended
    plan = course.plan if course else None
    seen = None if frame is None else _number(frame.values[KEY])
    known = bay.judge.figures()
    return BayView(
        bay=bay.name,
        status=bay.status,
        age_s=None if age_s is None else round(age_s, 3),
        stale=is_stale(bay, age_s),
        key_lent=bay.lent,
        key_seen=None if seen is None else bool(seen),
        past_due=past_due(bay),
        supply_cut=bay.supply.opened,
        job=bay.job or None,
        number=bay.number,
        unit=bay.unit,
        plan=plan.view() if plan else None,
        elapsed_s=round(min(course.elapsed_s, course.plan.total_s), 2) if course else 0.0,
        left_s=round(max(0.0, course.plan.total_s - course.elapsed_s), 2) if course and bay.soaking else None,
        ask=course.ask if course and bay.soaking else None,
        verdict=ended.verdict if ended else None,
        reasons=ended.reasons if ended else [],
        figures=figures(bay, known),
        forecast=cone(bay, known),
        derived=derived(known) if whole else {},
        strip=list(strip.points) if strip and whole else [],
        tags=list(strip.tags) if strip else [],
        waits=course.over if course else [],
        readings=readings(bay) if whole else [],
        rules=standings(bay) if whole else [],
        link=link_view(bay.name, link) if whole else None,
    )


def past_due(bay: Bay) -> list[str]:
    """The channels whose calibration is past due, as every view of a bay's readings tells."""
    calibrations = bay.calibrated.of(bay.name)
    if not calibrations:
        return []
    day = today()
    return sorted(channel for channel, one in calibrations.items() if one.past_due(day))


def derived(known: Known) -> dict[str, float]:
    """What the estimators know, by name; what they don't is left out."""
    named = {name: value for name, value in msgspec.structs.asdict(known).items() if isinstance(value, float)}
    named |= {f"junction_{i}_c": value for i, value in enumerate(known.junction_c, 1)}
    return {name: round(value, 5) for name, value in named.items() if math.isfinite(value)}


def figures(bay: Bay, known: Known) -> Figures:
    """The figures of a shelf from its last frame."""
    frame = bay.last
    if frame is None:
        return Figures()
    values = frame.values
    drains = [_number(v) for v in values[DRAINS]]
    while drains and drains[-1] is None:
        drains.pop()
    return Figures(
        heatsink_c=_number(values[HEATSINK]),
        heatsink_limit_c=bay.limits.heatsink_c,
        time_to_limit_s=known.time_to_limit_s if bay.lent else None,
        drains_a=drains,
        forward_w=_number(values[FORWARD]),
        forward_change_db=None if bay.power.db is None or not bay.lent else round(bay.power.db, 2),
        swr=_number(swr(values[FORWARD], values[REFLECTED])),
        supply_v=_number(values[SUPPLY]),
    )


def readings(bay: Bay) -> list[Reading]:
    """The last value of every channel that the bay has, or why it has none."""
    if bay.last is None:
        return []
    rows = zip(CHANNELS, bay.last.values, bay.last.quality, strict=True)
    calibrations = bay.calibrated.of(bay.name)
    day = today() if calibrations else None
    found = []
    for name, v, q in rows:
        if q == Quality.MISSING:
            continue
        reading = Reading(channel=name, unit=UNITS[name], value=_number(v), quality=Quality(q).name.lower())
        if name in DETECTED and (volts := bay.last.volts[DETECTED.index(name)]) == volts:
            reading.volts = float(f"{volts:.6g}")
        if day and (one := calibrations.get(name)):
            reading.calibration_id, reading.calibration = one.id, one.past_due(day)
            if one.kind is CalibrationKind.TABLE:
                reading.raw, reading.raw_unit = reading.volts, "V"
            else:
                reading.raw, reading.raw_unit = _number(one.correction.reading(v)), UNITS[name]
        found.append(reading)
    return found


def standings(bay: Bay) -> list[RuleStanding]:
    """Whether each rule can judge the bay, and why not."""
    return [RuleStanding(rule=name, state=s.state, why=s.why) for name, s in bay.judge.standings().items()]


def link_view(bay: str, link: Link) -> BayLink:
    """What has come over a bay's link."""
    whole, own = link.stats, link.stats.bays.get(bay)
    return BayLink(
        link=link.name,
        connected=whole.connected,
        presence=own.presence if own else "unknown",
        packs=own.packs if own else 0,
        lost=own.lost if own else 0,
        restarts=own.restarts if own else 0,
        repeats=own.repeats if own else 0,
        unknown=own.unknown if own else 0,
        refused=own.refused if own else 0,
        crc_failures=whole.crc_failures,
        packs_refused=whole.refused,
        last_error=(own.last_error if own else "") or whole.last_error,
    )


def _number(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 4)
