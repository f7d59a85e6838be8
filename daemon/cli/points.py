"""Points of a calibration as they are typed, or as they stand in a CSV file."""

import csv
import math
from pathlib import Path

from daemon.api.calibration_models import CalibrationKind
from daemon.errors import BadFile, Problem
from sensors.rf import dbm_from_w

LINE = "READING=REFERENCE, as 24.6=25.1: what the page shows, and what the reference instrument shows"
TABLE = "VOLTS=DBM, as 0.512=30.0, with its own standard uncertainty in dB after a colon if known: 0.512=30.0:0.05"
#: the columns of a file of points
COLUMNS = {CalibrationKind.LINE: ("reading", "reference"), CalibrationKind.TABLE: ("volts", "dbm", "u_db")}


def typed(text: str, kind: CalibrationKind) -> dict[str, float]:
    """One point; in a table the power may be given as watts, 0.512=1W. Raises BadFile."""
    wanted = TABLE if kind is CalibrationKind.TABLE else LINE
    reading, _, rest = text.partition("=")
    reference, colon, u = rest.partition(":")
    try:
        point = {"reading": float(reading), "reference": _power(reference, kind)}
        if colon and kind is CalibrationKind.TABLE:
            point["u"] = float(u)
        elif colon:
            raise ValueError(u)
    except ValueError:
        point = {"reading": math.nan}
    if not all(math.isfinite(value) for value in point.values()):
        raise BadFile("keysoak calibrate", [Problem("--point", f"{text!r} is no point: {wanted}")])
    return point


def of_file(path: Path, kind: CalibrationKind) -> list[dict[str, float]]:
    """The points of a CSV file; raises BadFile, with every row that is none."""
    columns = COLUMNS[kind]
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as err:
        raise BadFile(str(path), [Problem("", f"can't be read: {err}")]) from err
    numbered = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip() and line.lstrip()[0] != "#"]
    # a spreadsheet of a country that writes 0,5 sets semicolons between the cells
    mark = ";" if numbered and ";" in numbered[0][1] else ","
    rows = list(csv.reader([line for _, line in numbered], delimiter=mark, skipinitialspace=True))
    head = [cell.strip().casefold() for cell in rows[0]] if rows else []
    if not set(columns[:2]) <= set(head):
        raise BadFile(str(path), [Problem("row 1", f"must be {', '.join(columns)}")])
    problems, points = [], []
    for (n, _), row in zip(numbered[1:], rows[1:], strict=False):
        point = {}
        for field, column in zip(("reading", "reference", "u"), columns, strict=False):
            cell = row[head.index(column)].strip() if column in head and len(row) > head.index(column) else ""
            if not cell and field == "u":
                continue
            try:
                point[field] = float(cell.replace(",", ".") if mark == ";" else cell)
                if not math.isfinite(point[field]):
                    raise ValueError(cell)
            except ValueError:
                problems.append(Problem(f"row {n}, {column}", f"{cell!r} is no number" if cell else "is empty"))
        points.append(point)
    if problems:
        raise BadFile(str(path), problems)
    return points


def _power(text: str, kind: CalibrationKind) -> float:
    text = text.strip()
    if kind is CalibrationKind.TABLE and text.casefold().endswith("w"):
        watts = float(text[:-1])
        if not watts > 0:
            raise ValueError(text)
        return dbm_from_w(watts)
    if kind is CalibrationKind.TABLE and text.casefold().endswith("dbm"):
        text = text[:-3]
    return float(text)
