"""The CUSUM's run lengths: exact values by the integral equation of Page (1954), and Siegmund's approximation (1985).

The exact values were found by Gauss-Legendre solution of the integral equation; 465 and 168 for the two-sided chart at
h = 5 and h = 4 are the known textbook values (memory). Optimality: Lorden 1971, Moustakides 1986.
"""

from math import erf, pi, sqrt
from random import Random

import numpy as np
import pytest

from alerts.estimators.cusum import Bank, Cusum, interval_for, least_delay, run_length

#: k, h, shift, all in standard deviations -> average run length of the one-sided chart from zero
EXACT = [
    (0.5, 3.0, 0.0, 117.596),
    (0.5, 3.0, 1.0, 6.40391),
    (0.5, 4.0, 0.0, 335.368),
    (0.5, 4.0, 1.0, 8.3832),
    (0.5, 5.0, 0.0, 930.887),
    (0.5, 5.0, 0.5, 38.0096),
    (0.5, 5.0, 1.0, 10.376),
    (0.5, 5.0, 1.5, 5.74722),
    (0.25, 8.0, 0.0, 736.788),
    (0.25, 8.0, 0.5, 28.7634),
    (1.0, 2.52, 0.0, 745.631),
    (1.0, 2.52, 2.0, 3.26691),
]


def exact_run_length(k: float, h: float, shift: float, nodes: int = 60) -> float:
    """The integral equation L(u) = 1 + L(0)·Phi(k - u - shift) + integral of L(v)·phi(v - u + k - shift) over 0..h."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    v, w = 0.5 * h * (x + 1), 0.5 * h * w
    kernel = np.exp(-0.5 * (v[None, :] - v[:, None] + k - shift) ** 2) / sqrt(2 * pi) * w[None, :]
    stay = np.array([0.5 * (1 + erf((k - u - shift) / sqrt(2))) for u in v])
    at_zero = 0.5 * (1 + erf((k - shift) / sqrt(2)))
    row = np.exp(-0.5 * (v + k - shift) ** 2) / sqrt(2 * pi) * w
    matrix = np.block([[np.array([[1 - at_zero]]), -row[None, :]], [-stay[:, None], np.eye(nodes) - kernel]])
    return float(np.linalg.solve(matrix, np.ones(nodes + 1))[0])


@pytest.mark.parametrize(("k", "h", "shift", "published"), EXACT)
def test_the_integral_equation_gives_the_reference_values(k: float, h: float, shift: float, published: float) -> None:
    """The yardstick of the tests below is itself the published one."""
    assert exact_run_length(k, h, shift) == pytest.approx(published, rel=2e-5)


@pytest.mark.parametrize(("k", "h", "shift", "published"), EXACT)
def test_simulated_run_lengths_agree_with_the_exact_ones(k: float, h: float, shift: float, published: float) -> None:
    """The chart's own mean run length, in control and at its worst-case delay, lies within its sampling error."""
    noise = Random(f"{k} {h} {shift}").gauss
    lengths = []
    for _ in range(1500 if published > 100 else 4000):
        chart, n = Cusum(k, h), 1
        while not chart.feed(noise(shift, 1.0)):
            n += 1
        lengths.append(n)
    error = float(np.std(lengths)) / sqrt(len(lengths))
    assert float(np.mean(lengths)) == pytest.approx(published, abs=3.5 * error)


@pytest.mark.parametrize(("k", "h", "shift", "published"), EXACT)
def test_siegmunds_formula_is_near_the_exact_value(k: float, h: float, shift: float, published: float) -> None:
    """What sets the decision intervals is within 7 % of the exact run length, on the side that k of 1 makes longer."""
    assert run_length(k, h, shift) == pytest.approx(published, rel=0.07)


def test_siegmunds_worked_values() -> None:
    """938.2 in control and 10.336 at one standard deviation, at k = 0.5 and h = 5 (Siegmund 1985)."""
    assert run_length(0.5, 5.0) == pytest.approx(938.2224, rel=1e-6)
    assert run_length(0.5, 5.0, 1.0) == pytest.approx(10.3362, rel=1e-5)
    assert run_length(0.5, interval_for(0.5, 1e5)) == pytest.approx(1e5, rel=1e-6)


@pytest.mark.parametrize(
    ("shift", "run", "published"), [(1.0, 930.887, 10.3207), (0.5, 42590.1, 60.6554), (2.0, 107243, 5.63804)]
)
def test_no_chart_beats_the_continuous_optimum(shift: float, run: float, published: float) -> None:
    """The floor under every detector's worst-case delay (Moustakides 1986), as tabulated; the CUSUM lies just above."""
    assert least_delay(shift, run) == pytest.approx(published, rel=1e-5)


@pytest.mark.parametrize("shift", [0.5, 1.0, 2.0])
def test_the_bank_needs_little_longer_than_a_chart_that_knew_the_shift(shift: float) -> None:
    """At 1e5 samples in control the bank's mean delay is at most 1.3 times that of the CUSUM made for this shift."""
    k = shift / 2
    low, high = 0.0, 60.0
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if exact_run_length(k, middle, 0.0) < 1e5 else (low, middle)
    knew = exact_run_length(k, low, shift)
    noise = Random(f"bank {shift}").gauss
    delays = []
    for _ in range(600):
        bank, n = Bank(1e5), 1
        while bank.feed(noise(shift, 1.0)) is None:
            n += 1
        delays.append(n)
    assert float(np.mean(delays)) <= 1.3 * knew


def test_the_bank_keeps_its_run_length() -> None:
    """The bank's run length in control is no shorter than what was asked (here short, so that it can be simulated)."""
    noise = Random("bank in control").gauss
    lengths = []
    for _ in range(400):
        bank, n = Bank(400.0), 1
        while bank.feed(noise(0.0, 1.0)) is None:
            n += 1
        lengths.append(n)
    assert float(np.mean(lengths)) >= 400.0 * (1 - 3.0 / sqrt(len(lengths)))


def test_overshoot_constant() -> None:
    """Siegmund's formula at zero drift is the square of the widened interval."""
    assert run_length(0.5, 3.0, 0.5) == pytest.approx((3.0 + 1.166) ** 2)
