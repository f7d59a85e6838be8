"""A figure judged by its unit's own history."""

from random import Random

from alerts.estimators.own_history import Answers, OwnHistory


def make() -> OwnHistory:
    return OwnHistory([Answers(0.0, 0.01)], noise_sd=0.02, floor_sd=0.002, delay_s=120.0, run=1e5)


def run(history: OwnHistory, seconds: float, *, creep_per_s: float = 0.0, onset_s: float = 1e9) -> float | None:
    """A figure that answers to temperature with 0.004 a kelvin while that warms; the time of the first signal."""
    noise = Random("history").gauss
    at = 0.0
    while at < seconds:
        warm_k = 30.0 * (1 - 2.718 ** (-at / 900.0))
        figure = 1.0 + 0.004 * warm_k + creep_per_s * max(at - onset_s, 0.0) + noise(0.0, 0.004)
        judged = history.feed(at, (warm_k,), figure)
        if judged is not None and judged.signals:
            return at
        at += 5.0
    return None


def test_a_figure_that_follows_its_temperature_signals_nothing() -> None:
    """A temperature coefficient that nobody told is learned, not called."""
    assert run(make(), 6 * 3600.0) is None


def test_a_creeping_figure_signals_soon() -> None:
    """A creep of 0.1 standard deviation a sample is called in less than three minutes, in the right direction."""
    history = make()
    at = run(history, 4000.0, creep_per_s=8e-5, onset_s=2000.0)
    assert at is not None
    assert 2000.0 < at < 2180.0
    assert history.off > 0.0


def test_one_bad_sample_signals_nothing() -> None:
    """A single reading however wrong neither signals nor teaches."""
    history = make()
    assert run(history, 1500.0) is None
    before = list(history.fit.theta)
    judged = history.feed(1505.0, (25.0,), 900.0)
    assert judged is not None
    assert not judged.signals
    assert history.fit.theta == before or abs(history.fit.theta[0] - before[0]) < 1e-3


def test_until_it_has_learned_it_does_not_judge() -> None:
    """Before its first delay is over a history says nothing at all."""
    history = make()
    assert all(history.feed(5.0 * i, (0.0,), 1.0) is None for i in range(24))


def off_after(*, capped: float, both: bool, colder: float = 0.0) -> float:
    """A figure that goes with half of another one; then it creeps, and the other one with it or not: what is off.

    While it creeps a temperature falls by ``colder``.
    """
    answers = [Answers(0.0, 1e-6), Answers(0.5, 0.15, capped=capped)]
    history = OwnHistory(answers, noise_sd=0.01, floor_sd=0.002, delay_s=60.0, run=1e5)
    noise = Random("capped").gauss
    for i in range(400):
        other = 0.02 * noise(0.0, 1.0)
        part = max(i - 200, 0) / 200.0
        figure = 0.5 * other + 0.04 * part + noise(0.0, 0.002)
        history.feed(5.0 * i, (-colder * part, other + (0.08 * part if both else 0.0)), figure)
    return history.off


def test_what_grows_beyond_all_that_was_learned_explains_nothing_where_it_is_capped() -> None:
    """A bias that creeps brings the power with it: the root of a power that was never seen does not excuse it."""
    assert off_after(capped=0.0025, both=True) > 0.01
    assert abs(off_after(capped=float("inf"), both=True)) < 0.005
    assert off_after(capped=0.0025, both=False) > 0.01


def test_a_cap_gives_way_to_cold() -> None:
    """As much power more as 20 K of cooling are worth explains as much current more, and no more than that."""
    assert abs(off_after(capped=0.004, both=True, colder=20.0)) < 0.005
    assert off_after(capped=0.004, both=True, colder=2.0) > 0.01


def test_a_coefficient_from_a_narrow_range_holds_no_further_than_its_ends_allow() -> None:
    """Learned as +1 % a kelvin over 3 K while devices warmed up, and really -0.5 %: at 25 K more it is no drift."""

    def far(ends: float) -> float:
        noise = Random("narrow").gauss
        history = OwnHistory(
            [Answers(0.004, 0.008, 0.003, ends=ends)], noise_sd=0.015, floor_sd=0.003, delay_s=60.0, run=1e5
        )
        for i in range(60):
            history.feed(5.0 * i, (20.0 + 0.05 * i,), 0.01 * 0.05 * i + noise(0.0, 0.003))
        judged = None
        for i in range(60, 80):
            judged = history.feed(5.0 * i, (48.0,), -0.005 * 25.0 + noise(0.0, 0.003))
        assert judged is not None
        return judged.least

    assert far(0.0) < -0.14
    assert abs(far(0.03)) < 0.1
