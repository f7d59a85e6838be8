"""The verdict and its figures."""

from collections.abc import Callable
from typing import Any

import pytest

from alerts.estimators.arrhenius import equivalent_s
from alerts.limits import Limits
from alerts.types import Event, Finding, Priority, not_applicable
from alerts.verdict import Tally, Verdict
from sensors.types import Drive

Make = Callable[..., Any]


def finding(rule: str, priority: Priority, event: Event = Event.RAISED, text: str = "the sentence") -> Finding:
    """A finding of a rule."""
    return Finding(0, "bay-1", rule, event, priority, 1.0, 1.0, "1", f"{rule}: {text}", rule)


def soak(story: Make, tally: Tally, **channels: float | None) -> None:
    """A soak of a healthy radio: 20 s of rest, then keyed for 100 s."""
    s = story()
    for asked, run_s in ((False, 20.0), (True, 100.0)):
        s.key(asked)
        for _ in range(round(run_s / 0.5)):
            s.clock_s += 0.5
            tally.step(s.frame(**channels), s.now)


def ended(story: Make, *heard: Finding, standing: tuple[Finding, ...] = (), **how: Any) -> Verdict:
    """The verdict of a finished soak in which these were heard."""
    tally = Tally(Limits(), 0.5)
    soak(story, tally)
    for f in heard:
        tally.hear(f)
    return tally.verdict(**{"finished": True, "asked_s": 100.0, "standing": standing, **how})


def test_a_quiet_finished_soak_passes_and_says_so(story: Make) -> None:
    """Nothing heard, all seen, all keyed: pass, with a reason."""
    verdict = ended(story)
    assert (str(verdict.verdict), verdict.reasons) == ("pass", ("no rule had anything to say",))


@pytest.mark.parametrize("rule", ["over-temperature", "over-current", "current-imbalance", "keying"])
def test_a_trip_about_the_radio_fails(story: Make, rule: str) -> None:
    """The radio's own trips are the radio's failure."""
    verdict = ended(story, finding(rule, Priority.TRIP), finished=False)
    assert verdict.verdict == "fail"
    assert verdict.reasons[0].startswith(rule)


@pytest.mark.parametrize(
    ("rule", "says"),
    [
        ("reflected-power", "the load, not the radio"),
        ("load-temperature", "the load, not the radio"),
        ("supply", "the supply, not the radio"),
        ("sensor-fault", "the bench's sensing, not the radio"),
        ("link-lost", "the link to the node, not the radio"),
    ],
)
def test_a_trip_about_the_bench_leaves_the_soak_incomplete(story: Make, rule: str, says: str) -> None:
    """A bench that fails says nothing against the radio, and asks for another soak."""
    verdict = ended(story, finding(rule, Priority.TRIP), finished=False)
    assert verdict.verdict == "incomplete"
    assert verdict.reasons[0].startswith(says)
    assert "mend it and soak again" in verdict.reasons


def test_a_radio_that_trips_with_the_bench_fails(story: Make) -> None:
    """Where both tripped in one frame the radio is not let off."""
    both = finding("supply", Priority.TRIP), finding("over-current", Priority.TRIP)
    assert ended(story, *both, finished=False).verdict == "fail"


def test_a_warning_about_the_radio_that_stands_at_the_end_fails(story: Make) -> None:
    """What has not returned to normal by the end of a whole soak is a fault."""
    warning = finding("current-imbalance", Priority.WARNING)
    verdict = ended(story, warning, standing=(warning,))
    assert (verdict.verdict, verdict.reasons) == ("fail", ("still: current-imbalance: the sentence",))


def test_a_warning_that_has_returned_is_noted_among_the_reasons_of_a_pass(story: Make) -> None:
    """A pass tells what was there and went."""
    warning = finding("over-temperature", Priority.WARNING)
    back = finding("over-temperature", Priority.WARNING, Event.RETURNED, "back")
    verdict = ended(story, warning, back)
    assert (verdict.verdict, verdict.reasons) == (
        "pass",
        ("returned to normal: over-temperature: the sentence",),
    )


def test_a_link_that_is_lost_at_the_end_is_incomplete(story: Make) -> None:
    """Nobody saw the end of that soak."""
    warning = finding("link-lost", Priority.WARNING)
    assert ended(story, warning, standing=(warning,)).verdict == "incomplete"


def test_a_soak_that_was_stopped_is_incomplete_and_says_by_what(story: Make) -> None:
    """The reason is the one given; without one, that the plan did not run to its end."""
    assert ended(story, finished=False, stopped="unkeyed by a person").reasons == ("unkeyed by a person",)
    assert ended(story, finished=False).reasons == ("the plan was not run to its end",)


def test_too_little_key_down_is_incomplete(story: Make) -> None:
    """100 s keyed of 110 s asked is under 95 %."""
    assert ended(story, asked_s=104.0).verdict == "pass"
    verdict = ended(story, asked_s=110.0)
    assert verdict.verdict == "incomplete"
    assert "keyed for 100 s of the 110 s" in verdict.reasons[0]


def test_idle_key_down_counts_without_the_nodes_word(story: Make) -> None:
    """A lone drain-1 draws less at idle than a radio may at rest: the key that was lent and the current tell."""
    s, tally = story(), Tally(Limits(), 0.5)
    s.key(True, Drive.IDLE)
    for _ in range(200):
        s.clock_s += 0.5
        tally.step(s.frame(without=("key", "drain-2"), drain_1=0.4), s.now)
    assert tally.figures()["key_down_s"] == pytest.approx(100.0, abs=1.0)


@pytest.mark.parametrize(("lost", "verdict"), [(4, "pass"), (12, "incomplete")])
def test_time_that_nobody_saw_is_incomplete_over_two_percent(story: Make, lost: int, verdict: str) -> None:
    """Of 120 s, 2 s unseen pass and 6 s don't; single lost packs are no unseen time."""
    s, tally = story(), Tally(Limits(), 0.5)
    s.key(True)
    for i in range(240):
        s.clock_s += 0.5
        if not (100 <= i < 100 + lost or i in (20, 40, 60)):
            tally.step(s.frame(), s.now)
    made = tally.verdict(finished=True, asked_s=110.0)
    assert made.verdict == verdict
    assert made.figures["gap_s"] == lost * 0.5


@pytest.mark.parametrize("channel", ["heatsink", "supply", "forward"])
def test_a_needed_channel_that_was_missing_is_incomplete(story: Make, channel: str) -> None:
    """Without a needed channel the soak has not shown what it must."""
    tally = Tally(Limits(), 0.5)
    soak(story, tally, **{channel: None})
    verdict = tally.verdict(finished=True, asked_s=100.0)
    assert verdict.verdict == "incomplete"
    assert verdict.reasons[0].startswith(f"{channel} was missing in 100%")


@pytest.mark.parametrize("channel", ["drain-1", "load", "reflected", "case-1"])
def test_a_channel_that_dies_in_the_middle_is_incomplete_also_where_it_is_optional(story: Make, channel: str) -> None:
    """It was there, so the bench meant to watch it; one that never was there is no matter."""
    for dies in (True, False):
        s, tally = story(), Tally(Limits(), 0.5)
        s.key(True, Drive.CARRIER)
        for i in range(800):
            s.clock_s += 0.5
            there = {"load": 60.0, "case_1": 55.0}
            tally.step(s.frame(without=(channel,) if not dies or i >= 500 else (), **there), s.now)
        verdict = tally.verdict(finished=True, asked_s=400.0)
        assert verdict.verdict == ("incomplete" if dies else "pass"), verdict.reasons
        if dies:
            assert verdict.reasons[0] == f"{channel} was missing for 150 s of 400 s: look at its sensor"


def test_an_optional_channel_that_is_sent_seldom_is_not_dead(story: Make) -> None:
    """The air's temperature with every tenth pack."""
    s, tally = story(), Tally(Limits(), 0.5)
    s.key(True, Drive.CARRIER)
    for i in range(800):
        s.clock_s += 0.5
        tally.step(s.frame(without=() if i % 10 == 0 else ("ambient",), ambient=22.0), s.now)
    assert tally.verdict(finished=True, asked_s=400.0).verdict == "pass"


def test_a_single_wrong_reading_is_no_figure_of_the_units(story: Make) -> None:
    """One reading of 108 °C, 0.2 V or 40 A among good ones leaves greatest and least as they were."""
    s, tally = story(), Tally(Limits(), 0.5)
    s.key(True)
    for i in range(100):
        s.clock_s += 0.5
        wrong = {"heatsink": 108.0, "supply": 0.2, "drain_1": 40.0} if i == 50 else {}
        tally.step(s.frame(**wrong), s.now)
    figures = tally.figures()
    assert figures["heatsink_max_c"] < 41.0
    assert figures["supply_min_v"] == pytest.approx(13.7)
    assert figures["drain_1_max_a"] == pytest.approx(1.9)


def test_no_pack_at_all_is_incomplete_and_no_error() -> None:
    """A soak of nothing."""
    verdict = Tally(Limits(), 0.5).verdict(finished=True, asked_s=0.0)
    assert (verdict.verdict, verdict.reasons) == ("incomplete", ("no pack came",))


def test_a_rule_that_could_not_judge_is_named_in_a_pass(story: Make) -> None:
    """Never silently passed (the contract)."""
    verdict = ended(story, standings={"current-imbalance": not_applicable("only one drain current is measured")})
    assert verdict.reasons == ("current-imbalance was not judged: only one drain current is measured",)


def test_the_figures_are_those_of_the_soak(story: Make) -> None:
    """Each figure against its closed form: a carrier of 25 W for 100 s from 13.7 V and 3.78 A."""
    s, tally = story(), Tally(Limits(), 0.5)
    for drive, asked, run_s in ((Drive.OFF, False, 10), (Drive.CARRIER, True, 100), (Drive.OFF, False, 10)):
        s.key(asked, drive)
        for i in range(run_s * 2):
            s.clock_s += 0.5
            tally.step(s.frame(heatsink=30 + 0.1 * i if asked else 30.0, drain_1=1.90 if asked else 0.0), s.now)
    figures = tally.figures()
    assert figures["heatsink_max_c"] == pytest.approx(49.8)  # its highest reading stood alone
    assert figures["forward_mean_w"] == pytest.approx(25.0)
    assert figures["drain_1_max_a"] == pytest.approx(1.90)
    assert figures["drain_2_max_a"] == pytest.approx(1.88)
    assert figures["key_down_s"] == pytest.approx(100.0)
    assert figures["rf_energy_j"] == pytest.approx((25.0 - 0.05) * 100)
    assert figures["efficiency_ratio"] == pytest.approx(25.0 / (13.7 * 3.78), abs=1e-4)
    # 0.5 s at each of 240 heatsink temperatures, of which the last holds for nothing
    courses = [(30.0, 0.5)] * 20 + [(30 + 0.1 * i, 0.5) for i in range(200)] + [(30.0, 0.5)] * 19
    assert figures["heat_equivalent_s"] == pytest.approx(equivalent_s(courses, 40.0, 0.7), rel=1e-6)
    assert figures["drawn_energy_j"] == pytest.approx(13.7 * 3.78 * 100 + 13.8 * 0.01 * 19.5, rel=1e-6)
    assert figures["energy_j"] == figures["drawn_energy_j"]
    # |gamma| = sqrt(0.05 / 25) = 0.04472; SWR = 1.04472 / 0.95528
    assert figures["swr_max"] == pytest.approx(1.0936, abs=1e-4)
    assert figures["supply_min_v"] == pytest.approx(13.7)
    assert (figures["frames"], figures["gap_s"]) == (240, 0)


def test_what_was_not_measured_has_no_figure(story: Make) -> None:
    """No reflected power, no SWR; never driven, no forward power."""
    s, tally = story(), Tally(Limits(), 0.5)
    s.key(True, Drive.IDLE)
    for _ in range(100):
        s.clock_s += 0.5
        tally.step(s.frame(without=("reflected", "drain-2")), s.now)
    assert {"swr_max", "forward_mean_w", "rf_energy_j", "drain_2_max_a"}.isdisjoint(tally.figures())
