"""dBm, watts and volts in 50 ohm against tables, and the match against tables and scikit-rf."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skrf.mathFunctions import complex_2_db
from skrf.tlineFunctions import zl_2_Gamma0, zl_2_swr

from sensors import rf

# Definition of dBm and P = Vrms**2/R = Vpk**2/(2R), R 50 ohm (the latter read at McMaster University,
# engphys.mcmaster.ca/~elmer101/sqlaw/sqlaw.html): dBm, W, V rms, V peak
DBM = [
    (-60.0, 1e-9, 0.0002236068, 0.00031622777),
    (-30.0, 1e-6, 0.0070710678, 0.01),
    (0.0, 0.001, 0.2236068, 0.31622777),
    (3.0, 0.0019952623, 0.315853, 0.44668359),
    (13.0, 0.019952623, 0.99881488, 1.4125375),
    (20.0, 0.1, 2.236068, 3.1622777),
    (30.0, 1.0, 7.0710678, 10.0),
    (37.0, 5.0118723, 15.830149, 22.387211),
    (40.0, 10.0, 22.36068, 31.622777),
    (47.0, 50.118723, 50.059326, 70.794578),
    (50.0, 100.0, 70.710678, 100.0),
    (60.0, 1000.0, 223.6068, 316.22777),
]
# The same by round watts: W, dBm, V peak, V rms
WATTS = [
    (0.001, 0.0, 0.316228, 0.223607),
    (1.0, 30.0, 10.0, 7.071068),
    (5.0, 36.9897, 22.36068, 15.811388),
    (25.0, 43.9794, 50.0, 35.355339),
    (50.0, 46.9897, 70.710678, 50.0),
    (100.0, 50.0, 100.0, 70.710678),
    (400.0, 56.0206, 200.0, 141.421356),
    (1500.0, 61.760913, 387.298335, 273.861279),
]
# |gamma| = (S-1)/(S+1), return loss -20 log10|gamma|, mismatch loss -10 log10(1-|gamma|**2); computed apart from this
# code and checked with scikit-rf: SWR, |gamma|, return loss dB, reflected %, mismatch loss dB
SWR = [
    (1.05, 0.024390, 32.2557, 0.0595, 0.00258),
    (1.1, 0.047619, 26.4444, 0.2268, 0.00986),
    (1.2, 0.090909, 20.8279, 0.8264, 0.03604),
    (1.3, 0.130435, 17.6921, 1.7013, 0.07452),
    (1.5, 0.200000, 13.9794, 4.0000, 0.17729),
    (1.7, 0.259259, 11.7253, 6.7215, 0.30219),
    (2.0, 0.333333, 9.5424, 11.1111, 0.51153),
    (2.5, 0.428571, 7.3595, 18.3673, 0.88136),
    (3.0, 0.500000, 6.0206, 25.0000, 1.24939),
    (5.0, 0.666667, 3.5218, 44.4444, 2.55273),
    (10.0, 0.818182, 1.7430, 66.9421, 4.80725),
]

patient = settings(deadline=None)


@pytest.mark.parametrize(("dbm", "watt", "rms_v", "peak_v"), DBM)
def test_dbm_watts_and_volts_meet_the_table(dbm: float, watt: float, rms_v: float, peak_v: float) -> None:
    """Each of the four gives each other one."""
    assert rf.w_from_dbm(dbm) == pytest.approx(watt, rel=1e-7)
    assert rf.dbm_from_w(watt) == pytest.approx(dbm, abs=1e-6)
    assert rf.rms_v_from_w(watt) == pytest.approx(rms_v, rel=1e-7)
    assert rf.peak_v_from_w(watt) == pytest.approx(peak_v, rel=1e-7)
    assert rf.w_from_rms_v(rms_v) == pytest.approx(watt, rel=1e-7)
    assert rf.w_from_peak_v(peak_v) == pytest.approx(watt, rel=1e-7)


@pytest.mark.parametrize(("watt", "dbm", "peak_v", "rms_v"), WATTS)
def test_round_watts_meet_the_table(watt: float, dbm: float, peak_v: float, rms_v: float) -> None:
    """25 W is 43.98 dBm and 50 V peak in 50 ohm; and so on."""
    assert rf.dbm_from_w(watt) == pytest.approx(dbm, abs=1e-6)
    assert rf.peak_v_from_w(watt) == pytest.approx(peak_v, rel=2e-6)
    assert rf.rms_v_from_w(watt) == pytest.approx(rms_v, rel=2e-6)


@pytest.mark.parametrize(("swr", "gamma", "return_loss_db", "percent", "mismatch_db"), SWR)
def test_match_meets_the_table(
    swr: float, gamma: float, return_loss_db: float, percent: float, mismatch_db: float
) -> None:
    """From the reflected share of 100 W come gamma, SWR, return loss and mismatch loss."""
    assert rf.swr(100.0, percent) == pytest.approx(swr, rel=1e-4)
    assert rf.gamma(100.0, percent) == pytest.approx(gamma, rel=5e-4)
    assert rf.return_loss_db(100.0, percent) == pytest.approx(return_loss_db, abs=4e-3)
    assert rf.gamma_from_swr(swr) == pytest.approx(gamma, abs=5e-7)
    assert rf.swr_from_gamma(gamma) == pytest.approx(swr, rel=5e-6)
    assert rf.return_loss_from_gamma_db(rf.gamma_from_swr(swr)) == pytest.approx(return_loss_db, abs=5e-5)
    assert rf.mismatch_loss_db(rf.gamma_from_swr(swr)) == pytest.approx(mismatch_db, abs=5e-6)


def test_a_perfect_match_has_no_reflection() -> None:
    """SWR 1 is gamma 0, an infinite return loss and no mismatch loss."""
    assert rf.swr(100.0, 0.0) == 1.0
    assert rf.return_loss_db(100.0, 0.0) == math.inf
    assert rf.mismatch_loss_db(0.0) == 0.0


@patient
@given(st.floats(0.1, 5000.0), st.floats(-2000.0, 2000.0))
def test_match_agrees_with_scikit_rf(resistance_ohm: float, reactance_ohm: float) -> None:
    """For any load, scikit-rf's gamma, SWR and dB are ours from the forward and reflected power alone."""
    load = complex(resistance_ohm, reactance_ohm)
    reflection = complex(zl_2_Gamma0(50.0, load).item())
    reflected_w = 25.0 * abs(reflection) ** 2
    assert rf.gamma(25.0, reflected_w) == pytest.approx(abs(reflection), rel=1e-9, abs=1e-12)
    assert rf.swr(25.0, reflected_w) == pytest.approx(float(zl_2_swr(50.0, load).item()), rel=1e-6)
    if reflected_w > 1e-12:
        assert rf.return_loss_db(25.0, reflected_w) == pytest.approx(-float(complex_2_db(reflection)), abs=1e-6)
