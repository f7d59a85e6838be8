"""What a plan asks of a load, estimated."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.api.load import estimate
from daemon.api.load_models import Typical
from daemon.api.models import PhaseView, PlanView


def plan(*phases: tuple[str, float, float | None, float | None]) -> PlanView:
    """A plan of (drive, minutes, on_s, off_s)."""
    made, at_s = [], 0.0
    for drive, minutes, on_s, off_s in phases:
        made.append(PhaseView(drive=drive, start_s=at_s, end_s=at_s + minutes * 60, on_s=on_s, off_s=off_s))
        at_s += minutes * 60
    return PlanView(name="p", total_s=at_s, phases=made)


def test_a_carrier_at_half_efficiency_heats_the_radio_as_much_as_the_load() -> None:
    """25 W for an hour are 90 kJ into each (by hand)."""
    made = estimate(plan(("carrier", 60, None, None)), Typical(forward_w=25, efficiency_percent=50))
    assert (made.load_j, made.load_max_w, made.dissipation_max_w, made.dissipation_mean_w) == (90_000, 25, 25, 25)
    assert made.key_down_s == 3600


def test_two_tones_put_half_of_their_peak_into_the_load() -> None:
    """ITU Radio Regulations No. 1.157 and 1.158: PEP of two equal tones is twice their mean."""
    made = estimate(plan(("two-tone", 10, None, None)), Typical(forward_w=100, efficiency_percent=50))
    assert made.load_max_w == 50
    assert made.dissipation_max_w == pytest.approx(200 * 2 / math.pi - 50)


def test_keyed_and_rested_by_turns_counts_what_is_keyed() -> None:
    """A last part of a cycle too: 150 s of 60 on, 60 off are keyed for 90 s."""
    made = estimate(plan(("carrier", 2.5, 60, 60)), Typical(forward_w=10, efficiency_percent=50))
    assert (made.key_down_s, made.load_j) == (90, 900)


def test_the_worst_stretch_is_found_wherever_it_lies() -> None:
    """Five minutes that straddle a long rest and a carrier; no window of them is hotter than the carrier."""
    made = estimate(plan(("off", 3, None, None), ("carrier", 2, None, None), ("off", 9, None, None)), Typical())
    assert made.load_worst_w == pytest.approx(25 * 2 / 5)


@given(
    st.lists(
        st.tuples(st.sampled_from(["off", "idle", "carrier"]), st.integers(1, 12), st.none(), st.none()),
        min_size=1,
        max_size=6,
    ),
    st.integers(1, 8),
)
def test_the_worst_stretch_is_that_of_a_search_second_by_second(
    phases: list[tuple[str, float, None, None]], short_min: int
) -> None:
    """Every window that begins at a full second is looked at."""
    made = estimate(plan(*phases), Typical(load_w=1, load_short_w=1, load_short_min=short_min))
    seconds = [25.0 * (drive == "carrier") for drive, minutes, _, _ in phases for _ in range(int(minutes * 60))]
    window = short_min * 60
    sums = [0.0]
    for value in seconds:
        sums.append(sums[-1] + value)
    searched = max(sums[min(i + window, len(seconds))] - sums[i] for i in range(0, len(seconds), 10)) / window
    assert made.load_worst_w == pytest.approx(searched)


@pytest.mark.parametrize(
    ("rating", "says"),
    [
        ({}, "say how many watts"),
        ({"load_w": 20}, "at once are more than the 20 W"),
        ({"load_w": 10, "load_short_w": 30, "load_short_min": 2}, "over 2 minutes"),
        ({"load_w": 10, "load_short_w": 30}, "give both"),
        ({"load_w": 30, "load_j": 10_000}, "15 kJ in the whole soak"),
    ],
)
def test_a_load_that_is_too_small_keeps_a_plan_from_starting(rating: dict[str, float], says: str) -> None:
    """With the figure and what it takes."""
    made = estimate(plan(("carrier", 10, None, None)), Typical(**rating))
    assert says in "\n".join(made.problems)


@pytest.mark.parametrize(
    "rating", [{"load_w": 25}, {"load_w": 13, "load_short_w": 25, "load_short_min": 5}, {"load_w": 25, "load_j": 8000}]
)
def test_a_load_that_is_large_enough_lets_it_start(rating: dict[str, float]) -> None:
    """A minute keyed, a minute rested: 13 W bear the mean of 25 W, given that 25 W are borne for five minutes."""
    phase = ("carrier", 10, 60, 60) if "load_short_w" in rating else ("carrier", 5, None, None)
    limits = {**rating, "load_w": 15} if "load_short_w" in rating else rating
    assert estimate(plan(phase), Typical(**limits)).problems == []


def test_a_plan_that_keys_without_drive_needs_no_load_rating() -> None:
    """Nothing reaches the load."""
    assert estimate(plan(("idle", 10, None, None)), Typical()).problems == []


def test_a_week_of_short_cycles_costs_no_time() -> None:
    """As good as their mean."""
    made = estimate(plan(("carrier", 7 * 24 * 60, 1.0, 1.0)), Typical(load_w=13))
    assert made.load_worst_w == pytest.approx(12.5, rel=1e-3)
