"""NIST/ITL Statistical Reference Datasets (https://www.itl.nist.gov/div898/strd/): Misra1a, BoxBOD, Norris."""

import pytest

from alerts.estimators.heating_curve import fit
from alerts.estimators.recursive import Recursive
from alerts.estimators.slope import Line

MISRA1A = (
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0],
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.4, 75.47, 81.78],
)
BOXBOD = ([1.0, 2.0, 3.0, 5.0, 7.0, 10.0], [109.0, 149.0, 149.0, 191.0, 213.0, 224.0])
# fmt: off
NORRIS = (
    [0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5,
     11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1,
     448.9, 0.5],
    [0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9,
     10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4,
     449.2, 0.2],
)
# fmt: on


def test_the_heating_curve_meets_misra1a() -> None:
    """Rise, rate and their standard deviations of Misra1a, y = b1·(1 - exp(-b2·x)), as NIST certifies them."""
    found = fit(*MISRA1A)
    assert found is not None
    assert found.rise == pytest.approx(238.94212918, rel=1e-8)
    assert found.rate == pytest.approx(5.5015643181e-4, rel=1e-8)
    assert found.rise_sd == pytest.approx(2.7070075241, rel=1e-6)
    assert found.rate_sd == pytest.approx(7.2668688436e-6, rel=1e-6)
    assert found.residual_sd == pytest.approx(0.10187876330, rel=1e-8)


def test_the_heating_curve_meets_boxbod() -> None:
    """The same of BoxBOD, of the higher level of difficulty: a scan has no start from which to go astray."""
    found = fit(*BOXBOD)
    assert found is not None
    assert found.rise == pytest.approx(213.80940889, rel=1e-8)
    assert found.rate == pytest.approx(0.54723748542, rel=1e-8)
    assert found.rise_sd == pytest.approx(12.354515176, rel=1e-6)
    assert found.rate_sd == pytest.approx(0.10455993237, rel=1e-6)
    assert found.residual_sd == pytest.approx(17.088072423, rel=1e-8)


def test_the_line_meets_norris() -> None:
    """Slope, intercept and their standard deviations of Norris as certified, one point at a time."""
    line = Line()
    for x, y in zip(*NORRIS, strict=True):
        line.feed(x, y)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-11)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.slope_sd == pytest.approx(4.29796848199937e-4, rel=1e-9)
    assert line.intercept_sd == pytest.approx(0.232818234301152, rel=1e-9)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)


def test_the_recursive_fit_meets_norris_where_its_prior_is_wide() -> None:
    """Recursive least squares with a prior that says nothing and influence unbounded is least squares (Norris)."""
    fit_ = Recursive((0.0, 0.0), (1e6, 1e6), noise_sd=1e3, floor_sd=1e3)
    for x, y in zip(*NORRIS, strict=True):
        fit_.learn((1.0, x), y)
    assert fit_.theta[0] == pytest.approx(-0.262323073774029, abs=2e-4)
    assert fit_.theta[1] == pytest.approx(1.00211681802045, rel=1e-6)
