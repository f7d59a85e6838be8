"""A detector's table with its uncertainty, against the law of propagation, a Monte Carlo trial and the ideal diode."""

import math
import random
from statistics import fmean, stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.calibration_table import Table
from sensors.errors import CalibrationUnfit
from sensors.rf import dbm_from_w, w_from_dbm
from tests.standards.test_diode_detector import DIODE, diode_v

POINTS = [(0.2, 30.0, 0.05), (0.4, 36.02, 0.04), (0.8, 42.04, 0.1), (1.6, 48.06, 0.02)]
U_REFERENCE_DB = 0.08


@st.composite
def tables(draw: st.DrawFn) -> Table:
    """Any table that rises."""
    n = draw(st.integers(2, 12))
    volts = [draw(st.floats(1e-6, 1e-3))]
    dbm = [draw(st.floats(-60, 0))]
    for _ in range(n - 1):
        volts.append(volts[-1] * draw(st.floats(1.02, 3.0)))
        dbm.append(dbm[-1] + draw(st.floats(0.05, 8.0)))
    u = draw(st.lists(st.floats(0, 1), min_size=n, max_size=n))
    return Table(list(zip(volts, dbm, u, strict=True)), draw(st.floats(0, 1)))


@pytest.mark.parametrize("volts", [0.2, 0.27, 0.4, 0.55, 0.8, 1.1, 1.5])
def test_the_uncertainty_is_that_of_a_monte_carlo_trial(volts: float) -> None:
    """JCGM 101:2008, 5 to 7: the points and the reference drawn at random many times, the reading computed each time.

    The trial has nothing of the formula in it; 20 000 draws know a standard deviation to half a percent.
    """
    draw, table = random.Random(20080), Table(POINTS, U_REFERENCE_DB)
    readings = []
    for _ in range(20_000):
        off = draw.gauss(0.0, U_REFERENCE_DB)  # one and the same instrument stood behind all points
        tried = Table([(v, p + draw.gauss(0.0, u) + off, 0.0) for v, p, u in POINTS], 0.0)
        readings.append(dbm_from_w(tried.value(volts)))
    assert table.u_db(volts) == pytest.approx(stdev(readings), rel=0.02)
    assert dbm_from_w(table.value(volts)) == pytest.approx(fmean(readings), abs=0.005)


def test_the_uncertainty_at_a_point_and_between_two_is_the_law_of_propagation() -> None:
    """JCGM 100:2008, 5.1.2: at a point its own and the reference's; half way, half of each neighbour's."""
    table = Table(POINTS, U_REFERENCE_DB)
    assert table.u_db(0.4) == pytest.approx(math.hypot(0.04, 0.08))
    assert table.u_db(math.sqrt(0.4 * 0.8)) == pytest.approx(math.sqrt((0.04 / 2) ** 2 + (0.1 / 2) ** 2 + 0.08**2))
    # and in watts by the slope of 10 ** (p / 10)
    step = 1e-6
    slope = (w_from_dbm(36.02 + step) - w_from_dbm(36.02 - step)) / (2 * step)
    assert table.standard_uncertainty(0.4) == pytest.approx(slope * math.hypot(0.04, 0.08), rel=1e-6)
    assert table.expanded(0.4) == 2 * table.standard_uncertainty(0.4)


def test_where_the_table_says_that_it_bends_the_ideal_diode_does() -> None:
    """Between points of the ideal diode (its source stands in test_diode_detector) what is said covers what is so."""
    table = Table([(volts, dbm, 0.0) for dbm, volts, _ in DIODE], 0.0)
    pairs = list(zip(table.points, table.points[1:], strict=False))
    for (low, high), bend_db in zip(pairs, table.bends_db(), strict=True):
        middle = (low[1] + high[1]) / 2
        off = abs(dbm_from_w(table.value(diode_v(middle))) - middle)
        assert off < 1.6 * bend_db + 1e-3


@given(tables(), st.floats(0, 1))
def test_a_reading_comes_back_from_its_value_and_has_the_uncertainty_of_its_neighbours(table: Table, at: float) -> None:
    """Inverse after forward is the identity; u is never over the larger of both ends', nor under the reference's."""
    low, high = table.points[0][0], table.points[-1][0]
    volts = min(max(low * (high / low) ** at, low), high)
    assert table.reading(table.value(volts)) == pytest.approx(volts, rel=1e-9)
    worst = max(math.hypot(u, table.u_reference_db) for _, _, u in table.points)
    assert table.u_reference_db - 1e-12 <= table.u_db(volts) <= worst + 1e-12


@given(tables(), st.floats(1.0001, 10))
def test_beyond_its_ends_there_is_neither_value_nor_uncertainty(table: Table, far: float) -> None:
    """Both ends alike; and no power has no volts."""
    low, high = table.points[0][0], table.points[-1][0]
    for volts in (low / far, high * far):
        assert math.isnan(table.value(volts))
        assert math.isnan(table.expanded(volts))
    assert math.isnan(table.reading(0.0))
    assert math.isnan(table.reading(math.nan))


@given(tables())
def test_more_volts_are_never_less_power(table: Table) -> None:
    """So no alert is turned round by a table."""
    low, high = table.points[0][0], table.points[-1][0]
    values = [table.value(min(max(low * (high / low) ** (i / 40), low), high)) for i in range(41)]
    assert values == sorted(values)


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ([(0.2, 30.0, 0.0)], "two points"),
        ([(0.2, 30.0, 0.0), (0.4, 30.0, 0.0)], "must rise"),
        ([(0.2, 30.0, 0.0), (0.2, 31.0, 0.0)], "the same"),
        ([(0.0, 30.0, 0.0), (0.2, 31.0, 0.0)], "above 0 V"),
        ([(0.1, 30.0, -0.1), (0.2, 31.0, 0.0)], "0 or more"),
        ([(0.1, math.nan, 0.0), (0.2, 31.0, 0.0)], "finite"),
    ],
)
def test_points_that_make_no_table_are_refused(points: list[tuple[float, float, float]], says: str) -> None:
    """With what would be right."""
    with pytest.raises(CalibrationUnfit, match=says):
        Table(points, 0.1)
