"""Thermistors against the Steinhart-Hart and beta closed forms, a published table and a textbook problem."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors import ntc

# J. S. Steinhart, S. R. Hart, Deep-Sea Research 15 (1968) 497-503, is the equation; the coefficients are those of
# Wikipedia, "Thermistor"; the table for them was read in a public unit test ("Typical 3k thermistor table").
PUBLISHED = ntc.SteinhartHart(1.4e-3, 2.37e-4, 9.9e-8)
PUBLISHED_TABLE = [
    (-10.0, 17000.007273577237),
    (0.0, 10030.217595116217),
    (10.0, 6110.382218893218),
    (20.0, 3833.3275927458376),
    (30.0, 2470.600112646012),
    (40.0, 1632.3750999273645),
    (50.0, 1103.547410503712),
]
# Computed by the closed form from those coefficients, R_ohm and t_C (no published three-point example was found)
CHECK_POINTS = [
    (20000.0, -12.956104),
    (10000.0, 0.059039),
    (5000.0, 14.227558),
    (3000.0, 25.507394),
    (2000.0, 35.027047),
    (1500.0, 42.112931),
    (1000.0, 52.607286),
]
# Beta closed form, 10 kohm at 25 C, B 3950 K; own numbers, computed apart from this code: t_C, R_ohm
BETA_10K_3950 = [
    (-20.0, 105384.690206),
    (-10.0, 58245.712787),
    (0.0, 33620.603721),
    (10.0, 20174.577024),
    (25.0, 10000.0),
    (40.0, 5301.466859),
    (60.0, 2486.164751),
    (85.0, 1086.670769),
    (100.0, 697.519773),
    (125.0, 358.833877),
]

patient = settings(deadline=None)


@pytest.mark.parametrize(("celsius", "ohm"), PUBLISHED_TABLE)
def test_steinhart_hart_meets_the_published_table(celsius: float, ohm: float) -> None:
    """Both ways, to 1e-7 C and eleven digits of resistance."""
    assert ntc.steinhart_hart(PUBLISHED)(ohm) == pytest.approx(celsius, abs=1e-7)
    assert ntc.steinhart_hart_ohm(celsius, PUBLISHED) == pytest.approx(ohm, rel=1e-9)


@patient
@given(st.floats(-50.0, 200.0))
def test_resistance_is_that_of_the_closed_inverse(celsius: float) -> None:
    """The cubic's root is the published one: x = y + sqrt((b/3c)**3 + y**2), ln R = b/3c / x**(1/3) - x**(1/3)."""
    a, b, c = PUBLISHED
    y = (a - 1.0 / (celsius + 273.15)) / (2.0 * c)
    third = b / (3.0 * c)
    x = math.cbrt(y + math.sqrt(third**3 + y * y))
    assert math.log(ntc.steinhart_hart_ohm(celsius, PUBLISHED)) == pytest.approx(third / x - x, rel=1e-10)


def test_three_points_give_the_coefficients_back() -> None:
    """Three points of the published curve, resistances to 0.1 milliohm, give its a, b, c to 5e-6 and its readings."""
    solved = ntc.solve_three_points([(0.0, 10030.2176), (25.0, 3067.5001), (50.0, 1103.5474)])
    assert solved == pytest.approx(PUBLISHED, rel=5e-6)
    for ohm, celsius in CHECK_POINTS:
        assert ntc.steinhart_hart(solved)(ohm) == pytest.approx(celsius, abs=2e-6)


def test_three_points_of_a_beta_curve_have_no_cubic_term() -> None:
    """The beta equation is Steinhart-Hart with a = 1/T0 - ln(R0)/B, b = 1/B, c = 0."""
    solved = ntc.solve_three_points([(0.0, 33620.6037), (25.0, 10000.0), (85.0, 1086.6708)])
    assert solved.a == pytest.approx(0.0010222846949397243, abs=1e-8)
    assert solved.b == pytest.approx(1.0 / 3950.0, abs=2e-9)
    assert solved.c == pytest.approx(0.0, abs=1e-11)


@pytest.mark.parametrize(("celsius", "ohm"), BETA_10K_3950)
def test_beta_meets_its_closed_form(celsius: float, ohm: float) -> None:
    """1/T = 1/T0 + ln(R/R0)/B, both ways."""
    assert ntc.beta(10_000.0, 3950.0)(ohm) == pytest.approx(celsius, abs=1e-6)
    assert ntc.beta_ohm(celsius, 10_000.0, 3950.0) == pytest.approx(ohm, abs=1e-6)


@pytest.mark.parametrize(
    ("ohm", "celsius"),
    [(100_000.0, -19.146225), (47_000.0, -6.184646), (22_000.0, 8.252722), (4700.0, 43.018396), (470.0, 114.456132)],
)
def test_beta_reads_round_resistances(ohm: float, celsius: float) -> None:
    """Closed form at resistances of the E series; own numbers, computed apart from this code."""
    assert ntc.beta(10_000.0, 3950.0)(ohm) == pytest.approx(celsius, abs=1e-6)


def test_beta_comes_from_two_points() -> None:
    """B25/85 of the curve above is its 3950 K."""
    assert ntc.beta_from_points(25.0, 10_000.0, 85.0, 1086.670769) == pytest.approx(3950.0, abs=1e-5)


def test_textbook_two_point_problem() -> None:
    """7360 ohm at the ice point and 153 ohm at the steam point: B, R at 37 C and dR/dT at both points.

    Data: physicsforums.com/threads/thermistors-temperature-problem.358849/ (a university physics textbook's problem);
    answers recomputed; the book's own, 3.94e3 K, 1.31 kohm, -389 and -4.33 ohm/K, are from memory.
    """
    b = ntc.beta_from_points(0.0, 7360.0, 100.0, 153.0)
    assert b == pytest.approx(3947.976, abs=1e-3)
    assert b == pytest.approx(3.94e3, abs=10.0)
    assert ntc.beta_ohm(37.0, 7360.0, b, 0.0) == pytest.approx(1312.322, abs=1e-3)

    def slope(celsius: float) -> float:
        return (ntc.beta_ohm(celsius + 0.01, 7360.0, b, 0.0) - ntc.beta_ohm(celsius - 0.01, 7360.0, b, 0.0)) / 0.02

    assert slope(0.0) == pytest.approx(-389.448, abs=1e-2)
    assert slope(100.0) == pytest.approx(-4.3381, abs=1e-4)


def test_a_table_of_a_beta_curve_is_the_beta_curve() -> None:
    """A beta curve is straight in (ln R, 1/T), so its table has no error between the points."""
    read = ntc.table(BETA_10K_3950)
    for celsius in (-15.0, 5.0, 30.0, 51.5, 77.0, 110.0):
        assert read(ntc.beta_ohm(celsius, 10_000.0, 3950.0)) == pytest.approx(celsius, abs=1e-6)


def test_a_table_of_the_published_curve_errs_little_between_its_points() -> None:
    """Ten degrees apart, (ln R, 1/T) stays within 0.02 C of Steinhart-Hart between the published points."""
    read = ntc.table(PUBLISHED_TABLE)
    for celsius in (-5.0, 5.0, 15.0, 25.0, 35.0, 45.0):
        assert read(ntc.steinhart_hart_ohm(celsius, PUBLISHED)) == pytest.approx(celsius, abs=0.02)
