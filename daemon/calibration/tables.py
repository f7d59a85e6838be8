"""A detector's table as it is told: its points with their uncertainties, and what a reader must know of it."""

import math
from itertools import pairwise

from daemon.api.calibration_models import CalibrationOrder, TablePointView
from sensors.calibration_table import Table
from sensors.rf import w_from_dbm

#: a stretch whose middle may lie further off the straight line wants a point more, dB; common practice, no source
BEND_DB = 0.1
#: a diode's output goes with the power when small and with its root when large, so that power rises by 10 to 20 dB a
#: decade of volts (McMaster University, engphys.mcmaster.ca/~elmer101/sqlaw/sqlaw.html); with room for a real one
LEAST_DB, MOST_DB = 6.0, 30.0


def points_of(order: CalibrationOrder) -> list[tuple[float, ...]]:
    """An order's points as a table has them, by rising volts."""
    return sorted((point.reading, point.reference, point.u) for point in order.points)


def views(table: Table) -> list[TablePointView]:
    """Each point with what is known of it."""
    bends = [*table.bends_db(), math.nan]
    return [
        TablePointView(
            volts=volts,
            dbm=dbm,
            watts=w_from_dbm(dbm),
            u_db=u_db,
            expanded_w=table.expanded(volts),
            bend_db=None if math.isnan(bend) else bend,
        )
        for (volts, dbm, u_db), bend in zip(table.points, bends, strict=True)
    ]


def said(table: Table) -> list[str]:
    """What a reader of a table must know of it."""
    points = table.points
    (low_v, low_dbm, _), (high_v, high_dbm, _) = points[0], points[-1]
    told = [
        f"over {high_v:g} V ({_watts(high_dbm)}) there is no reading, and under {low_v:g} V ({_watts(low_dbm)}) it "
        "counts as no power: a table is never carried on beyond its ends"
    ]
    if not any(u_db for _, _, u_db in points):
        told.append("the points are taken to repeat exactly, which none does: give each its own u")
    for (low, low_p, _), (high, high_p, _) in pairwise(points):
        rise_db = (high_p - low_p) / math.log10(high / low)
        if not LEAST_DB <= rise_db <= MOST_DB:
            told.append(
                f"from {low:g} V to {high:g} V the power rises by {rise_db:.0f} dB a decade of volts, and a diode's by "
                "10 to 20: look at both points"
            )
    bends = [(bend, pair) for bend, pair in zip(table.bends_db(), pairwise(points), strict=True) if bend > BEND_DB]
    if bends:
        bend, (low_point, high_point) = max(bends)
        told.append(
            f"between {low_point[0]:g} V and {high_point[0]:g} V readings may be off by {bend:.2g} dB, which is not in "
            "their uncertainty, since the table bends there: take a point between them"
        )
    if len(points) == 2:
        told.append("two points: how far the detector bends between them is not known; take more")
    return told


def _watts(dbm: float) -> str:
    watts = w_from_dbm(dbm)
    return f"{watts:.3g} W" if watts >= 0.1 else f"{watts * 1e3:.3g} mW" if watts >= 1e-4 else f"{watts * 1e6:.3g} µW"
