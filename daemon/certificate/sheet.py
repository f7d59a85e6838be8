"""The certificate in words: every line as both the PDF and the page print it, from the facts alone.

Nothing here is markup. Text of a person's goes through ``plain`` once, and is laid out as text by both.
"""

from datetime import datetime, timedelta, timezone

from pydantic import BaseModel

from alerts.guard import DECISION_RULE
from alerts.limits import Limits
from daemon.api.aligned import WAITED
from daemon.api.models import PlanView
from daemon.certificate.facts import Facts, Figure, Sealed
from daemon.certificate.figures import COUNTS, FIGURES, LIMITS, quantity, within
from daemon.certificate.text import (
    CAUTIONS,
    LEGAL,
    NAME,
    NO_CALIBRATION,
    NOT_SEALED,
    READ_AS,
    SHORT,
    duration,
    plain,
    sentence,
)
from daemon.certificate.unit import Row, fitted_rows, set_up_rows, unit_rows
from sensors.types import UNITS

_VERDICTS = {
    "pass": "Passed: no rule about the unit unkeyed it, and all that the plan asks was delivered and recorded.",
    "fail": "Failed: a rule about the unit unkeyed it, or was not back to normal at the end.",
    "incomplete": "Incomplete: it neither passed nor failed. It must be soaked again.",
}
_NOT_KNOWN = "–"


class Words(BaseModel):
    """The certificate, part by part; a table's first row is its head."""

    workshop: str
    stamp: str
    unsealed: str  # where the readings were not sealed yet
    verdict: str
    verdict_says: str
    unit: list[Row]
    fitted: list[Row]
    set_up: list[Row]
    plan: list[Row]
    figures: list[Row]
    reasons: list[str]
    limits: list[Row]
    calibrations: list[Row]
    calibrations_say: str
    alerts: list[Row]
    actions: list[Row]
    rule: str
    seal: list[Row]
    seal_says: str
    cautions: str = CAUTIONS
    legal: str = LEGAL
    made: str
    foot: str


def words(facts: Facts, most: int = 1000, most_reasons: int = 1000) -> Words:
    """The words of a certificate; no more than ``most`` alerts and actions each and ``most_reasons`` reasons, and how
    many more there are."""
    names = (plain(facts.unit.unit, SHORT), plain(facts.unit.number, SHORT), f"job {facts.job}")
    return Words(
        workshop=plain(facts.workshop.name),
        stamp=plain(facts.workshop.name, SHORT),
        unsealed="" if facts.sealed else NOT_SEALED,
        verdict=facts.verdict,
        verdict_says=_VERDICTS.get(facts.verdict, ""),
        unit=unit_rows(facts),
        fitted=fitted_rows(facts),
        set_up=set_up_rows(facts),
        plan=_plan(facts),
        figures=_figures(facts),
        reasons=_few([sentence(r) for r in facts.reasons], most_reasons),
        limits=_limits(facts),
        calibrations=_calibrations(facts),
        calibrations_say=_calibrations_say(facts),
        alerts=_alerts(facts, most),
        actions=_actions(facts, most),
        rule=f"{DECISION_RULE} {READ_AS}",
        seal=_seal(facts.sealed),
        seal_says=_seal_says(facts.sealed),
        made=f"Made {instant(facts.made_ns, facts)} by {facts.program}",
        foot=" · ".join(filter(None, names)),
    )


def instant(time_ns: int, facts: Facts) -> str:
    """A moment in the bench's own time zone, which is named."""
    return f"{_local(time_ns, facts):%Y-%m-%d %H:%M:%S} {facts.zone}".rstrip()


def _local(time_ns: int, facts: Facts) -> datetime:
    return datetime.fromtimestamp(time_ns / 1e9, timezone(timedelta(seconds=facts.zone_offset_s)))


def _plan(facts: Facts) -> list[Row]:
    gave = facts.delivered
    key = _NOT_KNOWN if gave.key_down_s is None else duration(gave.key_down_s)
    counted = "counted anew from the sealed readings" if gave.anew else "as counted while it ran"
    energy = []
    if gave.drawn_j is not None:
        energy.append(f"{_energy(gave.drawn_j)} drawn from the supply")
    if gave.load_j is not None:
        energy.append(f"{_energy(gave.load_j)} into the load")
    rows = [
        ["Plan", plain(facts.plan.name)],
        ["Course", course(facts.plan)],
        ["Began", instant(facts.started_ns, facts)],
        ["Ended", f"{instant(facts.ended_ns, facts)}, after {duration((facts.ended_ns - facts.started_ns) / 1e9)}"],
        ["Stood still", _stood(facts)],
        ["Keyed", f"{key} of {duration(gave.asked_s)} asked, {counted}"],
        ["Energy", ", ".join(energy)],
        ["Heat", _heat(facts)],
    ]
    return [row for row in rows if row[1]]


def _heat(facts: Facts) -> str:
    heat_s, limits = facts.delivered.heat_s, facts.limits
    if heat_s is None or "service_c" not in limits or "activation_ev" not in limits:
        return ""
    return (
        f"the heatsink’s time at temperature stands for {duration(heat_s)} at {limits['service_c']:g} °C "
        f"(Arrhenius, activation energy {limits['activation_ev']:g} eV, an assumption)"
    )


def _stood(facts: Facts) -> str:
    waits = [p for p in facts.run.phases if p.drive == WAITED]
    whole = duration(sum(p.end_s - p.start_s for p in waits))
    return f"{whole}, until a person had done what the plan asks" if waits else ""


def _energy(joule: float) -> str:
    return quantity(joule / 3600, "Wh", 1) if joule >= 36_000 else quantity(joule, "J", 0)


def course(plan: PlanView) -> str:
    """A plan's phases in a line."""
    said = []
    for phase in plan.phases[:12]:
        cycle = (
            "" if phase.on_s is None or phase.off_s is None else f" ({phase.on_s:g} s keyed, {phase.off_s:g} s rested)"
        )
        said.append(f"{phase.drive} {duration(phase.end_s - phase.start_s)}{cycle}")
    if len(plan.phases) > 12:
        said.append(f"and {len(plan.phases) - 12} phases more")
    return "; ".join(said) or "can't be read by this version"


def _figures(facts: Facts) -> list[Row]:
    by_name = {figure.name: figure for figure in facts.figures}
    rows = [["Figure", "Read", "U (k = 2)", "Limit", "Finding"]]
    for name in FIGURES:
        if (figure := by_name.get(name)) is not None:
            rows.append(_figure(figure))
    return rows


def _figure(figure: Figure) -> Row:
    label, unit, places = FIGURES[figure.name]
    known = _NOT_KNOWN if figure.name not in COUNTS else ""
    if figure.expanded is not None:
        known = f"± {within(figure.expanded, unit, places)}"
    limit = "" if figure.limit is None else f"{'≤' if figure.upper else '≥'} {quantity(figure.limit, unit, places)}"
    return [label, quantity(figure.value, unit, places), known, limit, figure.ruling]


def _limits(facts: Facts) -> list[Row]:
    usual = Limits().model_dump()
    rows = []
    for name, (label, unit, places) in LIMITS.items():
        if name in facts.limits:
            rows.append([label, quantity(facts.limits[name], unit, places)])
            if facts.limits[name] != usual.get(name):
                rows[-1][1] += f" (default {quantity(usual.get(name), unit, places)})"
    others = [n for n, v in facts.limits.items() if n not in LIMITS and n in usual and v != usual[n]]
    rows += [[n.replace("_", " ").capitalize(), f"{facts.limits[n]:g} (default {usual[n]:g})"] for n in others]
    return rows


def _calibrations(facts: Facts) -> list[Row]:
    if not facts.calibrations:
        return []
    rows = [["Channel", "No.", "What was drawn, against what", "Made", "Due", "U (k = 2)"]]
    ended = _local(facts.ended_ns, facts).date()
    for one in facts.calibrations:
        due = _NOT_KNOWN if one.due is None else f"{one.due.isoformat()}{' (PAST DUE)' if one.due < ended else ''}"
        unit = {"Cel": "°C"}.get(UNITS.get(one.channel, ""), UNITS.get(one.channel, ""))
        known = _NOT_KNOWN if one.expanded is None else f"± {one.expanded:.2g} {unit}".rstrip()
        drawn = f"{one.kind}, {one.points} points" if one.points else ""
        against = ", ".join(filter(None, [drawn, plain(one.reference, NAME)]))
        rows.append([plain(one.channel), plain(one.id), against, one.made.isoformat(), due, known])
    return rows


def _calibrations_say(facts: Facts) -> str:
    since = ", ".join(f"{plain(channel)} ({one})" for channel, one in sorted(facts.calibrated_since.items()))
    anew = [f"Calibrated since, and not in these figures: {since}."] if since else []
    if not facts.calibrations:
        return " ".join([NO_CALIBRATION, *anew])
    ended = _local(facts.ended_ns, facts).date()
    late = [plain(one.channel) for one in facts.calibrations if one.due is not None and one.due < ended]
    past = [f"Past due when the soak ended: {', '.join(late)}."] if late else []
    rest = "Channels that are not named have no calibration on record: their figures are as read."
    return " ".join([*past, rest, *anew])


def _alerts(facts: Facts, most: int) -> list[Row]:
    if not facts.happened:
        return []
    rows = [["No.", "At", "Alert", "What was said", "Then"]]
    for i, one in enumerate(facts.happened, 1):
        then = (
            "unkeyed"
            if one.unkeyed
            else "stood to the end"
            if one.returned_s is None
            else f"normal at {duration(one.returned_s)}"
        )
        rows.append([str(i), duration(one.at_s), f"{one.rule}, {one.priority}", sentence(one.text), then])
    return _few_rows(rows, most)


def _actions(facts: Facts, most: int) -> list[Row]:
    if not facts.actions:
        return []
    rows = [["When", "Alert", "What was done", "By", "Note"]]
    for one in facts.actions:
        rows.append(
            [instant(one.time_ns, facts), one.rule, plain(one.change), plain(one.person, SHORT), plain(one.note)]
        )
    return _few_rows(rows, most)


def _seal(sealed: Sealed | None) -> list[Row]:
    if sealed is None:
        return []
    return [["SHA-256", sealed.sha256], ["Of", f"{sealed.file}, {sealed.readings} readings"]]


def _seal_says(sealed: Sealed | None) -> str:
    if sealed is None:
        return (
            "The readings were NOT SEALED YET when this was made, so that it proves nothing of them and can't be "
            "verified: make it anew."
        )
    if not sealed.intact:
        return "THE SEALED FILE WAS MISSING OR CHANGED WHEN THIS WAS MADE: do not rely on it; make it anew."
    return (
        "keysoak verify FILE checks the sealed file, or this certificate, PDF or page, against what was sealed "
        "(FIPS 180-4)."
    )


def _few(lines: list[str], most: int) -> list[str]:
    return lines if len(lines) <= most else [*lines[:most], f"And {len(lines) - most} more, on the job's page."]


def _few_rows(rows: list[Row], most: int) -> list[Row]:
    if len(rows) - 1 <= most:
        return rows
    more = ["", "", "", f"And {len(rows) - 1 - most} more, on the job's page.", ""]
    return [*rows[: most + 1], more]
