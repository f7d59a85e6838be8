"""NIST/SEMATECH e-Handbook of Statistical Methods: the worked examples of 6.3.2.3 (CUSUM) and 6.3.2.4 (EWMA).

Read in several independent public test suites that transcribe both pages (secondary).
"""

import pytest

from alerts.estimators.cusum import Cusum
from alerts.estimators.ewma import Ewma, settled_sd_factor

# fmt: off
GROUP_MEANS = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
    324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]
S_HI = [
    0.00, 0.00, 0.00, 0.00, 0.03, 0.00, 0.00, 0.00, 0.00, 0.00,
    0.00, 0.00, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04,
]
S_LO = [
    0.00, 0.01, 0.00, 0.33, 0.00, 0.00, 0.56, 0.72, 0.17, 0.25,
    0.31, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00,
]
EWMA_X = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
    49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
]
EWMA = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]
# fmt: on


def test_the_cusum_meets_the_handbooks_example() -> None:
    """Both sums of 6.3.2.3 to its rounding, and its first signal at the 14th group."""
    target, k, h = 325.0, 0.3175, 4.1959
    up, down = Cusum(k, h), Cusum(k, h)
    signals = []
    for i, x in enumerate(GROUP_MEANS):
        if up.feed(x - target):
            signals.append(i + 1)
        assert not down.feed(target - x)
        assert up.sum == pytest.approx(S_HI[i], abs=0.0051)
        assert down.sum == pytest.approx(S_LO[i], abs=0.0051)
    assert signals == [14, 15, 16, 17, 18, 19, 20]


def test_the_ewma_meets_the_handbooks_example() -> None:
    """Every average of 6.3.2.4 at its two decimals, and its control limits 52.5884 and 47.4115."""
    chart = Ewma(0.3, 50.0)
    for x, published in zip(EWMA_X, EWMA, strict=True):
        assert chart.feed(x) == pytest.approx(published, abs=0.0051)
    assert 50.0 + 3 * settled_sd_factor(0.3) * 2.0539 == pytest.approx(52.5884, abs=1e-3)
    assert 50.0 - 3 * settled_sd_factor(0.3) * 2.0539 == pytest.approx(47.4115, abs=1e-3)
    assert chart.sd_factor == pytest.approx(settled_sd_factor(0.3), rel=1e-5)
