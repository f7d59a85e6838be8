"""Guarded acceptance: what uncertainty takes from a verdict, and that it never gives."""

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.guard import Ruling, doubts, judge, of_figures, swr_expanded
from alerts.limits import Limits
from alerts.types import Event, Finding, Priority
from alerts.verdict import Tally
from sensors.rf import swr

LIMITS = Limits().model_dump()
FIGURES = ("heatsink_max_c", "drain_1_max_a", "drain_2_max_a", "swr_max", "supply_min_v")
RANKS = {"fail": 0, "incomplete": 1, "pass": 2}

figures = st.fixed_dictionaries({}, optional={name: st.floats(0, 200) for name in FIGURES})
expanded = st.fixed_dictionaries({}, optional={name: st.floats(0, 100) for name in FIGURES})


@pytest.mark.parametrize(
    ("value", "u", "ruling"),
    [
        (70.0, 5.0, Ruling.PROVEN),  # by exactly the guard band
        (70.1, 5.0, Ruling.NOT_PROVEN),
        (75.0, 0.0, Ruling.PROVEN),
        (75.0, 0.1, Ruling.NOT_PROVEN),
        (75.1, 0.0, Ruling.BEYOND),
        (70.1, math.inf, Ruling.NOT_PROVEN),
    ],
)
def test_a_figure_is_proven_only_within_its_limit_by_its_uncertainty(value: float, u: float, ruling: Ruling) -> None:
    """For an upper limit of 75 °C the acceptance limit is A_U = T_U - w with w = U (JCGM 106:2012, 8.3.2)."""
    (judged,) = judge({"heatsink_max_c": value}, LIMITS, {"heatsink_max_c": u})
    assert judged.ruling is ruling


def test_a_lower_limit_has_its_guard_band_above_it() -> None:
    """The supply's least is proven at 11.7 V + U and not below (JCGM 106:2012, 8.3.2: A_L = T_L + w)."""
    rulings = [judge({"supply_min_v": v}, LIMITS, {"supply_min_v": 0.2})[0].ruling for v in (11.91, 11.89, 11.6)]
    assert rulings == [Ruling.PROVEN, Ruling.NOT_PROVEN, Ruling.BEYOND]


def test_a_lone_current_is_held_to_the_limit_of_the_total() -> None:
    """A radio with one current sensor has drain-1 alone, which may be its whole current."""
    assert judge({"drain_1_max_a": 4.0}, LIMITS, {})[0].bound.limit == "total_a"
    assert judge({"drain_1_max_a": 4.0, "drain_2_max_a": 4.0}, LIMITS, {})[0].bound.limit == "device_a"


def test_what_is_not_known_is_judged_as_read() -> None:
    """No uncertainty, or that of a line through two points, which is nan: no doubt, as before."""
    assert doubts({"heatsink_max_c": 74.9}, LIMITS, {"heatsink_max_c": math.nan}) == []
    assert doubts({"heatsink_max_c": 80.0}, LIMITS, {}) == []


def test_a_doubt_says_the_figure_its_uncertainty_and_its_limit() -> None:
    """A person must see from the sentence why it is no pass."""
    (said,) = doubts({"heatsink_max_c": 74.4}, LIMITS, {"heatsink_max_c": 0.81})
    assert said.startswith("heatsink 74.4 °C ± 0.9 °C (k = 2), limit 75.0 °C: not proven")


@given(figures, expanded, st.dictionaries(st.sampled_from(FIGURES), st.floats(0, 50)))
def test_more_uncertainty_takes_no_doubt_away(
    measured: dict[str, float], u: dict[str, float], more: dict[str, float]
) -> None:
    """Every figure in doubt stays in doubt when less is known of any."""
    wider = {name: u.get(name, 0.0) + more.get(name, 0.0) for name in {*u, *more}}
    assert len(doubts(measured, LIMITS, u)) <= len(doubts(measured, LIMITS, wider))


def _verdict(story: Callable[..., Any], heat_c: float, u: dict[str, float] | None, heard: str, whole: bool) -> str:
    tally = Tally(Limits(), 0.5)
    s = story()
    s.key(True)
    for _ in range(200 if whole else 60):
        s.clock_s += 0.5
        tally.step(s.frame(heatsink=heat_c), s.now)
    if heard:
        tally.hear(Finding(0, "bay-1", heard, Event.RAISED, Priority.TRIP, 1.0, 1.0, "1", "why"))
    return str(tally.verdict(finished=True, asked_s=100.0, expanded=u).verdict)


@given(
    heat_c=st.floats(20, 90),
    u=st.floats(0, 30),
    more=st.floats(0, 30),
    heard=st.sampled_from(["", "supply", "over-current"]),
    whole=st.booleans(),
)
def test_more_uncertainty_never_betters_a_verdict(
    story: Callable[..., Any], heat_c: float, u: float, more: float, *, heard: str, whole: bool
) -> None:
    """Neither a fail nor an incomplete soak becomes a pass by knowing less; a fail stays a fail."""
    steps = [None, {"heatsink_max_c": u}, {"heatsink_max_c": u + more}]
    first, second, third = (RANKS[_verdict(story, heat_c, step, heard, whole)] for step in steps)
    assert first >= second >= third
    assert (first == 0) == (third == 0)


def test_an_uncertain_pass_is_incomplete_with_the_reason(story: Callable[..., Any]) -> None:
    """Inside the guard band the soak is not passed, and the reason is the first that is told."""
    tally = Tally(Limits(), 0.5)
    s = story()
    s.key(True)
    for _ in range(200):
        s.clock_s += 0.5
        tally.step(s.frame(heatsink=74.0), s.now)
    verdict = tally.verdict(finished=True, asked_s=100.0, expanded={"heatsink_max_c": 1.5})
    assert verdict.verdict == "incomplete"
    assert "guard band" in verdict.reasons[0]


def test_a_channels_uncertainty_reaches_the_figures_read_on_it() -> None:
    """Figures of channels that were not calibrated are left out, and an SWR needs both powers."""
    measured = {"heatsink_max_c": 60.0, "drain_1_max_a": 2.0, "swr_max": 1.2, "forward_mean_w": 25.0}
    known = of_figures(measured, {"heatsink": 0.8, "drain-2": 0.1, "forward": 1.0})
    assert known == {"heatsink_max_c": 0.8, "forward_mean_w": 1.0}
    assert "swr_max" in of_figures(measured, {"forward": 1.0, "reflected": 0.05})


@given(st.floats(1.0, 3.0), st.floats(1.0, 100.0), st.floats(0, 0.2), st.floats(0, 0.2))
def test_the_uncertainty_of_an_swr_covers_each_power_alone(
    ratio: float, forward_w: float, u_f: float, u_r: float
) -> None:
    """It is no less than what either power's uncertainty does by itself, on the definition of SWR."""
    reflected_w = forward_w * ((ratio - 1) / (ratio + 1)) ** 2
    u = swr_expanded(ratio, forward_w, u_f, u_r)
    assert u >= swr(forward_w, reflected_w + u_r, floor_w=0.0) - ratio - 1e-6
    assert u >= swr(forward_w - u_f, reflected_w, floor_w=0.0) - ratio - 1e-6
    assert swr_expanded(ratio, 1.0, 2.0, 0.0) == math.inf
