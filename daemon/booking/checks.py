"""What physics and common practice ask of a set-up sheet. A doubt is a question to a person, never an error.

Peak envelope, mean and carrier power are those of the ITU Radio Regulations Nos. 1.157 to 1.159.
"""

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

from daemon.api.booking_models import NotJudged, Power, Question, Sheet, SheetJudged
from sensors.rf import am_peak_over_carrier

ITU = "ITU Radio Regulations Nos. 1.157 to 1.159"
PRACTICE = "common practice, no source"

#: full modulation: (1 + 1)**2, ITU RR 1.157 and 1.159 for a single tone
MOST_PEAK = am_peak_over_carrier(1.0)
# the limits that follow are common practice, no source
ALIKE_DB = 0.5  # two readings of the same power on a bench wattmeter
GAIN_MOST_DB = 3.0  # new devices with nothing else touched
IDLE_SPREAD = 0.10
BIAS_SPREAD_V = 0.5  # two devices of one lot that draw the same current
#: less is no power: a reading of nothing, not a figure to divide by
FLOOR_W = 0.001

#: the modes of a sheet, by the name that a person reads
MODES = {"am_carrier_w": "AM carrier", "am_pep_w": "AM PEP", "fm_w": "FM", "ssb_pep_w": "SSB PEP"}

Said = Iterator[Question | NotJudged]


class Part(NamedTuple):
    """The powers of before, or of after."""

    name: str
    power: Power


def judge(sheet: Sheet) -> SheetJudged:
    """Every question, every check that can't judge yet, and the figures that follow from the sheet."""
    judged = SheetJudged(gain_db=_gains_db(sheet), depth=_depths(sheet), idle_spread=_spread(_idle_a(sheet)))
    for check in CHECKS:
        for said in check(sheet):
            if isinstance(said, Question):
                judged.questions.append(said)
            else:
                judged.not_judged.append(said)
    return judged


def depth_of(carrier_w: float, pep_w: float) -> float:
    """Modulation depth ``sqrt(PEP / carrier) - 1``; 0 for a bare carrier, 1 for full modulation (ITU RR)."""
    return math.sqrt(pep_w / carrier_w) - 1.0


def over_db(value_w: float, reference_w: float) -> float:
    """How far a power lies over another, dB; what is under the floor counts as the floor."""
    return 10.0 * math.log10(max(value_w, FLOOR_W) / max(reference_w, FLOOR_W))


# --- the checks ------------------------------------------------------------------------------------------------


def fm_carrier(sheet: Sheet) -> Said:
    """FM leaves the envelope alone: its power is that of the unmodulated AM carrier."""
    for part in _parts(sheet):
        fm_w, carrier_w = part.power.fm_w, part.power.am_carrier_w
        if fm_w is None or carrier_w is None:
            yield NotJudged(check="fm-carrier", why=f"{part.name}: needs FM and AM carrier")
            continue
        apart_db = over_db(fm_w, carrier_w)
        if abs(apart_db) > ALIKE_DB:
            yield Question(
                check="fm-carrier",
                fields=[f"{part.name}.fm_w", f"{part.name}.am_carrier_w"],
                text=f"{part.name}: FM gives {fm_w:g} W and the AM carrier {carrier_w:g} W, {abs(apart_db):.1f} dB "
                f"apart; both are the same carrier and should agree within {ALIKE_DB:g} dB. Read both again on "
                "one meter without modulation, then look at the carrier's setting.",
                source=f"{ITU}: a constant envelope has its carrier's power; that a radio drives both alike, and "
                f"{ALIKE_DB:g} dB: {PRACTICE}",
            )


def am_peak(sheet: Sheet) -> Said:
    """Peaks of AM lie between the carrier and four times it."""
    for part in _parts(sheet):
        carrier_w, pep_w = part.power.am_carrier_w, part.power.am_pep_w
        if carrier_w is None or pep_w is None:
            yield NotJudged(check="am-peak", why=f"{part.name}: needs AM carrier and AM PEP")
            continue
        fields = [f"{part.name}.am_pep_w", f"{part.name}.am_carrier_w"]
        if pep_w > MOST_PEAK * carrier_w:
            most_w = MOST_PEAK * carrier_w
            yield Question(
                check="am-peak",
                fields=fields,
                text=f"{part.name}: AM peaks of {pep_w:g} W from a carrier of {carrier_w:g} W; full modulation gives "
                f"{MOST_PEAK:g} times the carrier, {most_w:g} W, and no meter may claim more. Read both again: is "
                "the meter on its right scale, does it overshoot, was the carrier read without modulation?",
                source=f"{ITU}: PEP = (1 + m)² × carrier, m at most 1",
            )
        elif over_db(pep_w, carrier_w) < -ALIKE_DB:
            yield Question(
                check="am-peak",
                fields=fields,
                text=f"{part.name}: AM peaks of {pep_w:g} W lie under the carrier of {carrier_w:g} W; an envelope's "
                "peak is never under its carrier. Does the meter hold peaks, or read the mean?",
                source=f"{ITU}; {ALIKE_DB:g} dB between two readings: {PRACTICE}",
            )


def gain(sheet: Sheet) -> Said:
    """New devices with nothing else touched bring a little power, and take none away."""
    gains_db = _gains_db(sheet)
    if not gains_db:
        yield NotJudged(check="gain", why="needs the power before and after in one mode")
    for mode, said in MODES.items():
        found_db = gains_db.get(mode)
        if found_db is None or -ALIKE_DB <= found_db <= GAIN_MOST_DB:
            continue
        before_w, after_w = getattr(sheet.before, mode), getattr(sheet.after, mode)
        what = (
            "less than before: look at bias, drive and the new devices"
            if found_db < 0
            else f"more than {GAIN_MOST_DB:g} dB: was it weak before, was something else touched, was it another meter?"
        )
        yield Question(
            check="gain",
            fields=[f"before.{mode}", f"after.{mode}"],
            text=f"{said}: {before_w:g} W before and {after_w:g} W after are {found_db:+.1f} dB, {what}",
            source=PRACTICE,
        )


def meter(sheet: Sheet) -> Said:
    """Before and after are to be compared, and so are best read on one meter."""
    first, second = sheet.before.meter, sheet.after.meter
    unsaid = [part.name for part in _parts(sheet) if _any_power(part.power) and not part.power.meter]
    if unsaid:
        yield NotJudged(check="meter", why=f"{' and '.join(unsaid)}: the meter is not said")
    elif first and second and first.casefold() != second.casefold():
        yield Question(
            check="meter",
            fields=["before.meter", "after.meter"],
            text=f"Before was read on {first!r} and after on {second!r}: the gain holds the difference of two meters. "
            "Can one of them be read again on the other?",
            source=PRACTICE,
        )


def idle_match(sheet: Sheet) -> Said:
    """The devices of a stage share the work only when their idle currents agree."""
    idle_a = _idle_a(sheet)
    spread = _spread(idle_a)
    if spread is None:
        yield NotJudged(check="idle-match", why="needs the idle current of two devices")
    elif spread > IDLE_SPREAD:
        listed = ", ".join(f"{i}: {current_a:g} A" for i, current_a in idle_a.items())
        yield Question(
            check="idle-match",
            fields=[f"device[{i}].idle_a" for i in idle_a],
            text=f"Idle currents are {spread:.0%} of their mean apart ({listed}); a matched set agrees within "
            f"{IDLE_SPREAD:.0%}. Set each device's bias again, warm, and see that it holds.",
            source=PRACTICE,
        )


def bias_match(sheet: Sheet) -> Said:
    """Devices of one lot come to the same idle current at nearly the same bias."""
    bias_v = {i: each.bias_v for i, each in enumerate(sheet.device, 1) if each.bias_v is not None}
    if len(bias_v) < 2:
        yield NotJudged(check="bias-match", why="needs the bias volts of two devices")
        return
    apart_v = max(bias_v.values()) - min(bias_v.values())
    if apart_v > BIAS_SPREAD_V:
        yield Question(
            check="bias-match",
            fields=[f"device[{i}].bias_v" for i in bias_v],
            text=f"Bias volts are {apart_v:.2f} V apart ({', '.join(f'{i}: {v:g} V' for i, v in bias_v.items())}); "
            f"devices of one lot lie within {BIAS_SPREAD_V:g} V. Are all of them of one type and lot?",
            source=PRACTICE,
        )


def device_data(sheet: Sheet) -> Said:
    """Without the device's data there is no junction estimate, and that is said."""
    fitted = sheet.fitted
    lacking = [
        name
        for name, value in (("R_θJC", fitted.rth_jc_k_w), ("R_θCS", fitted.rth_cs_k_w), ("T_J max", fitted.tj_max_c))
        if value is None
    ]
    if lacking:
        yield NotJudged(
            check="device-data", why=f"no junction estimate without {', '.join(lacking)} of the device type"
        )


CHECKS: tuple[Callable[[Sheet], Said], ...] = (fm_carrier, am_peak, gain, meter, idle_match, bias_match, device_data)


# --- figures ---------------------------------------------------------------------------------------------------


def _parts(sheet: Sheet) -> tuple[Part, Part]:
    return Part("before", sheet.before), Part("after", sheet.after)


def _any_power(power: Power) -> bool:
    return any(getattr(power, mode) is not None for mode in MODES)


def _gains_db(sheet: Sheet) -> dict[str, float]:
    both = {mode: (getattr(sheet.before, mode), getattr(sheet.after, mode)) for mode in MODES}
    return {
        mode: round(over_db(after_w, before_w), 3)
        for mode, (before_w, after_w) in both.items()
        if (before_w or 0.0) >= FLOOR_W and after_w is not None  # of a dead unit there is no gain to tell
    }


def _depths(sheet: Sheet) -> dict[str, float]:
    return {
        part.name: round(depth_of(part.power.am_carrier_w, part.power.am_pep_w), 4)
        for part in _parts(sheet)
        if part.power.am_carrier_w is not None
        and part.power.am_carrier_w >= FLOOR_W
        and part.power.am_pep_w is not None
    }


def _idle_a(sheet: Sheet) -> dict[int, float]:
    return {i: each.idle_a for i, each in enumerate(sheet.device, 1) if each.idle_a is not None}


def _spread(values: dict[int, float]) -> float | None:
    mean = math.fsum(values.values()) / len(values) if values else 0.0
    if len(values) < 2 or not mean > 0:
        return None
    return (max(values.values()) - min(values.values())) / mean
