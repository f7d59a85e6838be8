"""How sure a slope of current against temperature is, where points are noisy."""

from math import exp

import pytest

from alerts.estimators.loop_gain import CurrentGain


def flat_then_running(growing: int) -> CurrentGain:
    """Six points of a current that does nothing, then some that run away: 1 A, e^(i/3), 0.1 A/K."""
    gains = CurrentGain()
    for i in range(6):
        gains.feed(60.0 * i, 30.0 + 0.5 * (i % 2), 1.0)
    for i in range(growing):
        more_a = exp(i / 3.0) - 1.0
        gains.feed(360.0 + 60.0 * i, 30.0 + 10.0 * more_a, 1.0 + more_a)
    return gains


def test_what_all_points_are_off_by_is_noise_for_no_more_than_is_known_of_it() -> None:
    """Chance alone may have it that four points agree; but a growth is no noise where the noise is known."""
    gains = flat_then_running(5)
    sure, unsure, capped = (gains.slopes(0.02, most_a=most)[0] for most in (0.0, float("inf"), 0.03))
    assert sure.a_per_k == pytest.approx(0.1, rel=0.1)
    assert unsure.sd > sure.sd
    assert capped.sd == pytest.approx(1.5 * sure.sd, rel=0.2) or capped.sd == pytest.approx(unsure.sd)
    assert sure.sd <= capped.sd <= unsure.sd


def test_points_on_one_line_are_as_sure_as_their_noise() -> None:
    """The standard deviation of a slope is that of its points over the root of their spread (any textbook)."""
    gains = CurrentGain()
    for i in range(4):
        gains.feed(60.0 * i, 30.0 + 2.0 * i, 1.0 + 0.2 * i)
    slope = gains.slopes(0.05)[0]
    assert slope.a_per_k == pytest.approx(0.1)
    assert slope.sd == pytest.approx(0.05 / (4 * (9 + 1 + 1 + 9) / 4) ** 0.5)
    # they do agree, all of them: what they may be off by at the most does not count
    assert gains.slopes(0.05, most_a=1.0)[0].sd == pytest.approx(slope.sd)
