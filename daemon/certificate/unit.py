"""What the certificate says of the unit: which it is, what was fitted, and its set-up sheet."""

from daemon.api.booking_models import DeviceData, Power
from daemon.certificate.facts import Facts
from daemon.certificate.figures import quantity
from daemon.certificate.text import NAME, plain

Row = list[str]


def unit_rows(facts: Facts) -> list[Row]:
    """Which unit, and which job on which bay."""
    unit = facts.unit
    rows = [["Unit", unit.unit], ["Kind", unit.kind], ["Serial", unit.serial], ["Number", unit.number]]
    rows += [["Job", f"{facts.job}, on {facts.bay}"]]
    return [[name, plain(value, NAME)] for name, value in rows if value]


def fitted_rows(facts: Facts) -> list[Row]:
    """What was fitted, as it was booked in."""
    sheet = facts.unit.sheet
    if sheet is None:
        return [["", "Not booked in: what was fitted is not on record."]]
    fitted = sheet.fitted
    rows = [
        ["Devices", fitted.type],
        ["Lot", fitted.lot],
        ["Bias set by", fitted.bias_method],
        ["Their data", _data(fitted)],
    ]
    kept = [[name, plain(value)] for name, value in rows if value]
    return kept or [["", "The set-up sheet does not say what was fitted."]]


def _data(fitted: DeviceData) -> str:
    said = []
    if fitted.rth_jc_k_w is not None:
        said.append(f"Rθ junction–case {fitted.rth_jc_k_w:g} K/W")
    if fitted.rth_cs_k_w is not None:
        said.append(f"case–sink {fitted.rth_cs_k_w:g} K/W")
    if fitted.tj_max_c is not None:
        said.append(f"junction at most {fitted.tj_max_c:g} °C")
    return ", ".join(said)


def set_up_rows(facts: Facts) -> list[Row]:
    """The set-up sheet: each device's bias and idle current, and power before and after."""
    sheet = facts.unit.sheet
    if sheet is None:
        return []
    rows = []
    for i, device in enumerate(sheet.device, 1):
        said = [quantity(device.bias_v, "V", 2), quantity(device.idle_a, "A", 3)]
        if any(said):
            rows.append(
                [f"Device {i}", ", ".join(filter(None, (said[0] and f"bias {said[0]}", said[1] and f"idle {said[1]}")))]
            )
    for name, power in (("Before", sheet.before), ("After", sheet.after)):
        if said_of := _power(power):
            rows.append([name, said_of])
    return rows


def _power(power: Power) -> str:
    modes = {"AM carrier": power.am_carrier_w, "AM PEP": power.am_pep_w, "FM": power.fm_w, "SSB PEP": power.ssb_pep_w}
    said = [f"{mode} {watts:g} W" for mode, watts in modes.items() if watts is not None]
    if said and power.meter:
        said.append(f"on {plain(power.meter)}")
    return ", ".join(said)
