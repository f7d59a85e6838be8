"""What a calibration would be, and what there is to ask before it is put in force."""

import math
from collections.abc import Sequence
from datetime import date

from daemon.api.calibration_models import CalibrationJudged, CalibrationOrder
from daemon.calibration.known import TWO_POINTS, Calibration, line_view, point_views, uncorrected
from daemon.errors import Refused
from sensors.calibrated import Line, expanded_uncertainty
from sensors.calibration import Fit, fit
from sensors.errors import CalibrationUnfit
from sensors.types import UNITS

#: a reading that a calibration changes by more than this share of itself is asked about first
ASKED_RATIO = 0.05


def drawn(order: CalibrationOrder, now: Calibration | None) -> tuple[list[tuple[float, float]], Fit]:
    """The points without any correction, and the line through them about their middle; raises Refused."""
    points = uncorrected(order.points, now if order.as_shown else None)
    readings = [reading for reading, _ in points]
    try:
        # about the middle the line's two parameters are not correlated
        found = fit(readings, [reference for _, reference in points], sum(readings) / len(readings))
        Line.of(found)
    except CalibrationUnfit as err:
        raise Refused(f"{order.bay} {order.channel}: {err.why}") from err
    return points, found


def judge(order: CalibrationOrder, now: Calibration | None, today: date) -> CalibrationJudged:
    """What comes of an order's points; raises Refused."""
    points, found = drawn(order, now)
    return CalibrationJudged(
        unit=UNITS[order.channel],
        line=line_view(found),
        points=point_views(points, found, order.u_reference),
        said=said(order.channel, points, found, order.u_reference, order.due, today),
        asks=_asks(order, now, points, Line.of(found)),
    )


def said(  # noqa: PLR0917  the parts of a calibration
    channel: str,
    points: Sequence[tuple[float, float]],
    found: Fit,
    u_reference: float,
    due: date | None,
    today: date,
) -> list[str]:
    """What a reader of a calibration must know of it."""
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
    if u_reference == 0:
        told.append("the reference instrument is taken to be without any uncertainty, which none is")
    if due is None:
        told.append("no due date: it never becomes past due")
    elif due < today:
        told.append(f"past due since {due.isoformat()}")
    return told


def _asks(order: CalibrationOrder, now: Calibration | None, points: list[tuple[float, float]], line: Line) -> str:
    most, at, becomes = 0.0, 0.0, 0.0
    for reading, _ in points:
        shown = now.line.value(reading) if now else reading
        value = line.value(reading)
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
