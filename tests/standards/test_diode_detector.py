"""The detector's table against the ideal exponential diode, from square law to linear.

Ideal diode, no load, n*VT = 25.852 mV: exp(Vdc/nVT) = I0(Vp/nVT) (derivation read in City University of Hong Kong,
EE5602 notes); square law below about -20 dBm, linear above about +20 dBm, transition between (McMaster University,
engphys.mcmaster.ca/~elmer101/sqlaw/sqlaw.html). Computed apart from this code.
"""

import math

import pytest

from sensors.detector import detector
from sensors.rf import dbm_from_w, peak_v_from_w, w_from_dbm

# dBm in 50 ohm, V dc, d ln V / d ln P
DIODE = [
    (-60, 9.67034e-07, 1.0000),
    (-50, 9.66953e-06, 0.9999),
    (-40, 9.6614e-05, 0.9991),
    (-30, 0.000958147, 0.9909),
    (-25, 0.00297211, 0.9725),
    (-20, 0.00889237, 0.9245),
    (-15, 0.024525, 0.8307),
    (-10, 0.0597564, 0.7181),
    (-5, 0.129656, 0.6338),
    (0, 0.26038, 0.5819),
    (5, 0.498929, 0.5504),
    (10, 0.929079, 0.5312),
    (15, 1.69988, 0.5192),
    (20, 3.07642, 0.5118),
    (25, 5.5301, 0.5073),
    (30, 9.89924, 0.5044),
    (40, 31.5071, 0.5016),
]
NVT_V = 0.025852


def diode_v(dbm: float) -> float:
    """V dc = n*VT * ln I0(Vp/nVT), with I0(x) the mean of exp(x*cos(angle)) over a turn (its integral form)."""
    x = peak_v_from_w(w_from_dbm(dbm)) / NVT_V
    turn = 4000
    mean = math.fsum(math.exp(x * (math.cos(2 * math.pi * k / turn) - 1.0)) for k in range(turn)) / turn
    return NVT_V * (math.log(mean) + x)


@pytest.mark.parametrize(("dbm", "volts", "slope"), DIODE)
def test_the_table_reads_its_own_points(dbm: float, volts: float, slope: float) -> None:
    """At a calibrated point the reading is that point's power."""
    watts = detector([(v, p) for p, v, _ in DIODE])
    assert dbm_from_w(watts(volts)) == pytest.approx(dbm, abs=1e-9)


@pytest.mark.parametrize(("dbm", "volts", "slope"), DIODE)
def test_the_ideal_diode_is_the_tables(dbm: float, volts: float, slope: float) -> None:
    """The formula gives the table's voltages and, by small steps, its slopes: 1 in square law, 1/2 when linear."""
    assert diode_v(dbm) == pytest.approx(volts, rel=1e-5)
    step = 0.01
    rise = math.log(diode_v(dbm + step) / diode_v(dbm - step)) / (2.0 * step * math.log(10.0) / 10.0)
    assert rise == pytest.approx(slope, abs=1e-4)


@pytest.mark.parametrize(("region", "bound_db"), [((-50, -30), 0.03), ((-30, 20), 0.15), ((20, 40), 0.03)])
def test_the_error_between_points_is_small(region: tuple[int, int], bound_db: float) -> None:
    """Straight in (log V, dBm) the ideal diode is met between points: closely at both ends, to 0.15 dB in the bend."""
    watts = detector([(v, p) for p, v, _ in DIODE])
    low, high = region
    errors = [abs(dbm_from_w(watts(diode_v(low + i / 2))) - (low + i / 2)) for i in range(2 * (high - low))]
    assert all(error < bound_db for error in errors)


@pytest.mark.parametrize("volts", [9.0e-07, 0.0, -0.01, 31.6, 1e3])
def test_nothing_is_read_beyond_the_table(volts: float) -> None:
    """Neither end is extrapolated, though both regions look straight there."""
    assert math.isnan(detector([(v, p) for p, v, _ in DIODE])(volts))
