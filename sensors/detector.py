"""A power detector's calibration table, straight in (log V, dBm).

A diode's output goes with the power when small and with its root when large (square-law and linear region: McMaster
University, engphys.mcmaster.ca/~elmer101/sqlaw/sqlaw.html), so log V over dBm is two almost straight parts and a bend.
"""

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

from sensors.conversion import BELOW, GOOD, OUTSIDE, Answer
from sensors.errors import ConversionUnfit
from sensors.rf import w_from_dbm
from sensors.table import between


def detector(points: Sequence[tuple[float, float]]) -> Callable[[float], float]:
    """A function of volts that gives watts; nan outside the table, which is never extrapolated.

    ``points`` are (volts, dBm) in any order. Raises ConversionUnfit for fewer than two, a voltage that is not above
    0, or an output that does not rise with the power.
    """
    rising = sorted((volts, dbm) for volts, dbm in points)
    if any(volts <= 0 for volts, _ in rising):
        raise ConversionUnfit("table", "every voltage is above 0 V; leave out the reading at no power")
    if any(b <= a for (_, a), (_, b) in pairwise(rising)):
        raise ConversionUnfit("table", "the power must rise from point to point as the voltage does")
    dbm_at = between([math.log(volts) for volts, _ in rising], [dbm for _, dbm in rising])
    log = math.log

    def watts(volts: float) -> float:
        return w_from_dbm(dbm_at(log(volts))) if volts > 0 else math.nan

    return watts


def answering(points: Sequence[tuple[float, float]]) -> Callable[[float], Answer]:
    """The same as a function that says why there is no value: under the table, or over it. Raises ConversionUnfit."""
    watts = detector(points)
    low, high = min(volts for volts, _ in points), max(volts for volts, _ in points)

    def answer(volts: float) -> Answer:
        if low <= volts <= high:
            return watts(volts), GOOD
        # an output a little under 0 is an amplifier's offset at no power, as far as a table can tell
        return BELOW if -math.inf < volts < low else OUTSIDE

    return answer
