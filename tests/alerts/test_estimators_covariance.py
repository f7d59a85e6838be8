"""The slope that groups share and its noise, against least squares of a reference library."""

from math import inf, sqrt
from random import Random

import numpy as np
import pytest

from alerts.estimators.covariance import Covariance, Shared
from alerts.estimators.slope import Line


def drawn(seed: str, groups: int, members: int, noise: float) -> list[list[tuple[float, float]]]:
    """Groups of members: each group has its own mean, all have the slope 0.7."""
    rng, found = Random(seed), []
    for _ in range(groups):
        mean = rng.uniform(1.0, 3.0)
        xs = [rng.uniform(0.5, 4.0) for _ in range(members)]
        found.append([(x, mean + 0.7 * x + rng.gauss(0.0, noise)) for x in xs])
    return found


def line(members: list[tuple[float, float]]) -> Line:
    """A line through the members."""
    made = Line()
    for x, y in members:
        made.feed(x, y)
    return made


def shared(groups: list[list[tuple[float, float]]]) -> Covariance:
    """What all of them share."""
    made = Covariance()
    for members in groups:
        made.feed(line(members))
    return made


def test_slope_and_noise_are_those_of_least_squares_with_a_mean_for_each_group() -> None:
    """numpy.linalg.lstsq with one column a group and one for the covariate: the analysis of covariance, written out."""
    groups = drawn("covariance", 5, 7, 0.02)
    rows = [(k, x, y) for k, members in enumerate(groups) for x, y in members]
    design = np.array([[float(k == j) for j in range(len(groups))] + [x] for k, x, _ in rows])
    ys = np.array([y for _, _, y in rows])
    answer, rest, *_ = np.linalg.lstsq(design, ys, rcond=None)
    sd = sqrt(float(rest[0]) / (len(rows) - len(groups) - 1))
    slope_sd = sd * sqrt(float(np.linalg.inv(design.T @ design)[-1, -1]))
    found = shared(groups).told
    assert found is not None
    assert found.slope == pytest.approx(float(answer[-1]), rel=1e-9)
    assert found.noise_sd == pytest.approx(sd, rel=1e-9)
    assert found.slope_sd == pytest.approx(slope_sd, rel=1e-9)


def test_a_few_members_tell_no_noise() -> None:
    """Three groups of three have five degrees of freedom left (3·2 - 1); four have seven."""
    assert shared(drawn("few", 3, 3, 0.0)).told is None
    told = shared(drawn("few", 4, 3, 0.0)).told
    assert told is not None
    assert told.noise_sd == pytest.approx(0.0, abs=1e-6)
    assert Covariance().told is None


def test_a_group_in_which_something_goes_on_does_not_become_the_noise() -> None:
    """A level that doubles within one group, after five with a noise of a hundredth."""
    groups = drawn("grows", 5, 8, 0.02)
    growing = [(x, y * (1.0 + i / 8.0)) for i, (x, y) in enumerate(drawn("more", 1, 8, 0.02)[0])]
    before, after = shared(groups).told, shared([*groups, growing]).told
    assert before is not None
    assert after is not None
    assert before.noise_sd < after.noise_sd < 1.5 * before.noise_sd


def test_a_covariate_that_stands_still_tells_no_slope() -> None:
    """A radio whose speech is steady: what was known before is all that is known of it."""
    found = shared([[(2.0, 1.0 + 0.01 * (i % 2)) for i in range(8)] for _ in range(3)]).told
    assert found is not None
    assert (found.slope, found.slope_sd) == (0.0, inf)
    assert found.noise_sd == pytest.approx(0.005, rel=0.1)
    given = found.given(0.5, 0.1)
    assert (given.slope, given.slope_sd) == pytest.approx((0.5, 0.1))


def test_what_was_known_before_counts_by_its_weight() -> None:
    """Equally sure, the mean of both and a root of two less; for what has no doubt it changes nothing."""
    assert Shared(0.7, 0.1, 0.02).given(0.5, 0.1) == pytest.approx((0.6, 0.1 / sqrt(2.0), 0.02))
    assert Shared(0.7, 0.0, 0.02).given(0.5, 0.1) == (0.7, 0.0, 0.02)
