"""How sure a slope of current against temperature is, and what a loop gain is at the least."""

from math import exp

import pytest

from alerts.estimators.loop_gain import CurrentGain, Slope, gain_of


def test_points_on_one_line_are_as_sure_as_their_noise() -> None:
    """The standard deviation of a slope is that of its points over the root of their spread (any textbook)."""
    gains = CurrentGain()
    for i in range(4):
        gains.feed(60.0 * i, 30.0 + 2.0 * i, 1.0 + 0.2 * i)
    slope = gains.slopes(0.05)[0]
    assert slope.a_per_k == pytest.approx(0.1)
    assert slope.sd == pytest.approx(0.05 / (4 * (9 + 1 + 1 + 9) / 4) ** 0.5)


@pytest.mark.parametrize(("slope_sd", "r_sd"), [(0.0, 0.1), (0.02, 0.1), (0.0, 1.0), (0.1, 0.1)])
def test_a_resistance_that_is_hardly_known_is_none_of_nothing(slope_sd: float, r_sd: float) -> None:
    """However little is known of R, it is over 0: four standard deviations of it leave a part of a large gain."""
    gain = gain_of(Slope(0.5, slope_sd, 2.0, 0.5), 13.8, 1.5, r_sd)
    assert gain.value == pytest.approx(13.8 * 0.5 * 1.5)
    linear = gain.value - 4.0 * gain.sd
    assert gain.least >= linear
    assert gain.least == pytest.approx(max(linear, 13.8 * (0.5 - 4.0 * slope_sd) * 1.5 * exp(-4.0 * r_sd / 1.5)))
    assert (gain.least > 0.0) == (slope_sd < 0.5 / 4.0)


def test_a_slope_that_is_hardly_known_is_no_gain() -> None:
    """A little growth out of much noise, and a current that falls."""
    assert gain_of(Slope(0.1, 0.05, 2.0, 0.5), 13.8, 1.5, 0.1).least < 0.0
    assert gain_of(Slope(-0.1, 0.0, 2.0, 0.5), 13.8, 1.5, 0.1).least < 0.0
