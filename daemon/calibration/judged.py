"""What a calibration would be, and what there is to ask before it is put in force."""

import math
from collections.abc import Iterable, Sequence
from datetime import date
from typing import NamedTuple

from daemon.api.calibration_models import CalibrationJudged, CalibrationKind, CalibrationOrder
from daemon.calibration import tables
from daemon.calibration.known import TWO_POINTS, Calibration, line_view, point_views, table_of, uncorrected
from daemon.errors import Refused
from sensors.calibrated import Cell, Line, corrected, expanded_uncertainty
from sensors.calibration import Fit, fit
from sensors.calibration_table import Table
from sensors.conversion import Convert
from sensors.errors import CalibrationUnfit
from sensors.types import UNITS

#: a reading that a calibration changes by more than this share of itself is asked about first
ASKED_RATIO = 0.05


class Drawn(NamedTuple):
    """The points of an order without any correction, and the line through them about their middle; a table has none."""

    points: list[tuple[float, ...]]
    fit: Fit | None


def drawn(order: CalibrationOrder, now: Calibration | None, base: Convert | None = None) -> Drawn:
    """What comes of an order's points; raises Refused. ``base`` is the channel's conversion in rack.toml."""
    try:
        if order.kind is CalibrationKind.TABLE:
            points = tables.points_of(order)
            table_of(points, order.u_reference)
            return Drawn(points, None)
        read = uncorrected(order.points, now if order.as_shown else None, base)
        readings = [reading for reading, _ in read]
        # about the middle the line's two parameters are not correlated
        found = fit(readings, [reference for _, reference in read], sum(readings) / len(readings))
        Line.of(found)
    except CalibrationUnfit as err:
        raise Refused(f"{order.bay} {order.channel}: {err.why}") from err
    return Drawn([*read], found)


def judge(
    order: CalibrationOrder, now: Calibration | None, today: date, base: Convert | None = None
) -> CalibrationJudged:
    """What comes of an order's points; raises Refused. ``base`` is the channel's conversion in rack.toml."""
    points, found = drawn(order, now, base)
    told = said(order.channel, points, found, order.u_reference, order.due, today)
    if found is None:
        table = table_of(points, order.u_reference)
        shown = corrected(base, Cell(now.correction if now else None)) if base else None
        moved = ((shown(volts, "V")[0] if shown else math.nan, table.value(volts)) for volts, *_ in points)
        asks = _asks(order, moved)
        return CalibrationJudged(unit="W", line=None, points=[], table=tables.views(table), said=told, asks=asks)
    line = Line.of(found)
    if now and isinstance(now.correction, Table):
        # what was shown came by the table, which can't be had of a reading alone
        moved = ((given.reading, line.value(point[0])) for given, point in zip(order.points, points, strict=True))
    else:
        moved = ((now.correction.value(reading) if now else reading, line.value(reading)) for reading, _ in points)
    return CalibrationJudged(
        unit=UNITS[order.channel],
        line=line_view(found),
        points=point_views(points, found, order.u_reference),
        said=told,
        asks=_asks(order, moved),
    )


def said(  # noqa: PLR0917  the parts of a calibration
    channel: str,
    points: Sequence[Sequence[float]],
    found: Fit | None,
    u_reference: float,
    due: date | None,
    today: date,
) -> list[str]:
    """What a reader of a calibration must know of it."""
    told = _of_line(channel, points, found, u_reference) if found else tables.said(table_of(points, u_reference))
    if u_reference == 0:
        told.append("the reference instrument is taken to be without any uncertainty, which none is")
    if due is None:
        told.append("no due date: it never becomes past due")
    elif due < today:
        told.append(f"past due since {due.isoformat()}")
    return told


def _of_line(channel: str, points: Sequence[Sequence[float]], found: Fit, u_reference: float) -> list[str]:
    told = []
    nothing, unit = Line.of(found).value(0.0), UNITS[channel]
    # currents and powers are read at rest too, where rules look for a key that sticks
    if (
        unit in {"A", "W"}
        and min(r for r, _ in points) > 0
        and abs(nothing) > expanded_uncertainty(found, u_reference, 0.0)
    ):
        told.append(f"a reading of 0 {unit} becomes {nothing:.3g} {unit}, far from the points: take one near 0")
    if not found.freedom:
        told.append(TWO_POINTS)
    return told


def _asks(order: CalibrationOrder, moves: Iterable[tuple[float, float]]) -> str:
    """Of (what is shown now, what would be); what has no value now is not changed by having one."""
    most, at, becomes = 0.0, 0.0, 0.0
    for shown, value in moves:
        if math.isnan(shown):
            continue
        moved = abs(value - shown)
        share = moved / abs(shown) if shown else (float("inf") if moved else 0.0)
        if share > most:
            most, at, becomes = share, shown, value
    if most <= ASKED_RATIO:
        return ""
    unit = UNITS[order.channel].replace("Cel", "°C")
    much = f"by {most:.0%}" if math.isfinite(most) else "from nothing"
    return (
        f"{order.channel} of {order.bay} would change {much}: {at:.4g} {unit} becomes {becomes:.4g} {unit}. A sensor "
        "is seldom so far off: look at the points, the reference's range and the conversion in rack.toml, then confirm"
    )
