"""A batch of units from a CSV file, one a row: bad rows are named by row and field, good ones are taken."""

import csv
import io
import re
from typing import Any

import msgspec
from pydantic import ValidationError

from daemon.api.booking_models import MOST_DEVICES, Booking, RowProblem
from daemon.errors import BadFile, Problem
from daemon.files import problems_of

MOST_ROWS = 1000

_PARTS = ("before", "after")
_POWERS = ("am_carrier_w", "am_pep_w", "fm_w", "ssb_pep_w", "meter")
_DEVICE = tuple(range(1, MOST_DEVICES + 1))
#: each column, and where in a booking its cell goes
COLUMNS: dict[str, tuple[str, ...]] = {
    **{name: (name,) for name in ("number", "unit", "kind", "serial", "customer")},
    "device_type": ("fitted", "type"),
    **{name: ("fitted", name) for name in ("lot", "bias_method", "rth_jc_k_w", "rth_cs_k_w", "tj_max_c")},
    **{f"bias_{i}_v": ("device", str(i), "bias_v") for i in _DEVICE},
    **{f"idle_{i}_a": ("device", str(i), "idle_a") for i in _DEVICE},
    **{f"{part}_{name}": (part, name) for part in _PARTS for name in _POWERS},
}
NEEDED = ("number", "unit")
_BY_FIELD = {
    (f"device[{at[1]}].{at[2]}" if at[0] == "device" else ".".join(at)): column for column, at in COLUMNS.items()
}
#: a measured value has its unit at the end of its name
_NUMERIC = re.compile(r"_[wvac]$")


class Row(msgspec.Struct, frozen=True):
    """A good row; the header is row 1, as in a spreadsheet."""

    row: int
    booking: Booking


def read_csv(text: str) -> tuple[list[Row], list[RowProblem]]:
    """The good rows and what is wrong with the others; raises BadFile where the file is none, or its header is wrong.

    Cells are parted by commas, or by semicolons where the header is: numbers may then have a decimal comma.
    """
    text = text.removeprefix("\ufeff")
    parted_by = ";" if ";" in text.split("\n", maxsplit=1)[0] else ","
    table = csv.reader(io.StringIO(text, newline=""), delimiter=parted_by, strict=True)
    rows: list[list[str]] = []
    try:
        for cells in table:
            rows.append(cells)
            if len(rows) > MOST_ROWS + 1:
                raise BadFile("csv", [Problem("", f"more than {MOST_ROWS} rows: split it")])
    except csv.Error as err:
        raise BadFile("csv", [Problem(f"row {len(rows) + 1}", f"is not CSV: {err}")]) from err
    header = _header(rows[0] if rows else [])
    good: list[Row] = []
    bad: list[RowProblem] = []
    for number, cells in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in cells):
            continue
        found = _row(header, cells, parted_by == ";")
        if isinstance(found, Booking):
            good.append(Row(number, found))
        else:
            bad += [RowProblem(row=number, field=p.field, what=p.what) for p in found]
    return good, bad


def _header(cells: list[str]) -> list[str]:
    names = [cell.strip().lower() for cell in cells]
    problems = [
        Problem(f"row 1, {name or 'a column'}", "is no column that is known here: look for a misspelling")
        for name in names
        if name not in COLUMNS
    ]
    problems += [
        Problem(f"row 1, {name}", "is a column twice") for name in sorted({n for n in names if names.count(n) > 1})
    ]
    problems += [Problem(f"row 1, {name}", "is missing: every unit needs it") for name in NEEDED if name not in names]
    if problems:
        raise BadFile("csv", problems)
    return names


def _row(header: list[str], cells: list[str], decimal_comma: bool) -> Booking | list[Problem]:
    if len(cells) > len(header):
        return [Problem("", f"has {len(cells)} cells, the header {len(header)}: is a text with a comma in quotes?")]
    data = _booking(dict(zip(header, cells, strict=False)), decimal_comma)
    try:
        return Booking.model_validate(data)
    except ValidationError as err:
        return [Problem(_BY_FIELD.get(p.field, p.field), p.what) for p in problems_of(err, data)]


def _booking(cells: dict[str, str], decimal_comma: bool) -> dict[str, Any]:
    data: dict[str, Any] = {}
    devices: dict[int, dict[str, str]] = {}
    for column, cell in cells.items():
        value = cell.strip()
        if not value:
            continue
        if decimal_comma and _NUMERIC.search(column):
            value = value.replace(",", ".")
        where = COLUMNS[column]
        if where[0] == "device":
            devices.setdefault(int(where[1]), {})[where[2]] = value
        elif len(where) == 1:
            data[where[0]] = value
        else:
            data.setdefault(where[0], {})[where[1]] = value
    if devices:
        data["device"] = [devices.get(i, {}) for i in range(1, max(devices) + 1)]
    return data
