"""What is asked of a set-up sheet, over all sheets that a person could type."""

from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from daemon.api.booking_models import Booking, DeviceSetUp, Fitted, Power, Sheet, SheetJudged
from daemon.booking.checks import ALIKE_DB, IDLE_SPREAD, judge, over_db
from daemon.booking.typed import judge_typed

watts = st.none() | st.floats(0, 10_000)
some_watts = st.floats(0.1, 2_000)
powers = st.builds(
    Power, am_carrier_w=watts, am_pep_w=watts, fm_w=watts, ssb_pep_w=watts, meter=st.sampled_from(["", "a", "b"])
)
devices = st.builds(DeviceSetUp, bias_v=st.none() | st.floats(-50, 50), idle_a=st.none() | st.floats(0, 100))
sheets = st.builds(
    Sheet,
    fitted=st.builds(Fitted, rth_jc_k_w=st.none() | st.floats(0.01, 100)),
    device=st.lists(devices, max_size=4),
    before=powers,
    after=powers,
)
plain = st.none() | st.booleans() | st.integers() | st.floats() | st.text("a1.\0\ud800é", max_size=4)
table = st.dictionaries(st.sampled_from(["bias_v", "idle_a", "fm_w", "am_carrier_w", "type", "x"]), plain, max_size=4)
anything = plain | table | st.lists(plain | table, max_size=5)
typed_sheets = st.dictionaries(
    st.sampled_from(["number", "unit", "serial", "customer", "fitted", "device", "before", "after", "odd"]), anything
)


def asked(judged: SheetJudged) -> set[str]:
    """Which checks have a question."""
    return {question.check for question in judged.questions}


def has(sheet: Sheet, field: str) -> bool:
    """Whether a field that a question names is filled in."""
    at: Any = sheet
    for part in field.replace("]", "").replace("[", ".").split("."):
        at = at[int(part) - 1] if part.isdigit() else getattr(at, part)
    return at is not None


@settings(deadline=None)
@given(sheets)
def test_every_sheet_is_judged_and_every_question_names_filled_fields_and_a_source(sheet: Sheet) -> None:
    """No sheet raises; a question is never about a field that is empty."""
    for question in judge(sheet).questions:
        assert question.fields
        assert all(has(sheet, field) for field in question.fields)
        assert question.text
        assert question.source


@settings(deadline=None)
@given(some_watts, st.floats(0, 1))
def test_any_true_modulation_is_let_pass_and_its_depth_told(carrier_w: float, depth: float) -> None:
    """PEP = (1 + m)² × carrier for m up to 1 (ITU RR 1.157, 1.159)."""
    pep_w = min((1 + depth) ** 2 * carrier_w, 4 * carrier_w)
    judged = judge(Sheet(after=Power(am_carrier_w=carrier_w, am_pep_w=pep_w)))
    assert "am-peak" not in asked(judged)
    assert judged.depth["after"] == pytest.approx(depth, abs=1e-3)


@settings(deadline=None)
@given(some_watts, st.floats(1.0001, 100))
def test_more_than_full_modulation_is_always_questioned(carrier_w: float, more: float) -> None:
    """Whatever the power; also from no carrier at all."""
    pep_w = min(4 * carrier_w * more, 10_000)
    assume(pep_w > 4 * carrier_w)
    assert "am-peak" in asked(judge(Sheet(before=Power(am_carrier_w=carrier_w, am_pep_w=pep_w))))
    assert "am-peak" in asked(judge(Sheet(before=Power(am_carrier_w=0, am_pep_w=pep_w))))


@settings(deadline=None)
@given(some_watts, st.floats(-6, 6))
def test_fm_is_questioned_exactly_where_it_is_further_from_the_carrier_than_two_readings(
    carrier_w: float, apart_db: float
) -> None:
    """Whichever of them is the greater."""
    fm_w = carrier_w * 10 ** (apart_db / 10)
    assume(abs(abs(over_db(fm_w, carrier_w)) - ALIKE_DB) > 1e-9)
    judged = judge(Sheet(after=Power(am_carrier_w=carrier_w, fm_w=fm_w)))
    assert ("fm-carrier" in asked(judged)) == (abs(apart_db) > ALIKE_DB)


@settings(deadline=None)
@given(some_watts, some_watts)
def test_the_gain_back_is_the_gain_turned_round(first_w: float, second_w: float) -> None:
    """Before and after changed places."""
    there = judge(Sheet(before=Power(fm_w=first_w), after=Power(fm_w=second_w))).gain_db["fm_w"]
    back = judge(Sheet(before=Power(fm_w=second_w), after=Power(fm_w=first_w))).gain_db["fm_w"]
    assert there == pytest.approx(-back, abs=2e-3)


@settings(deadline=None)
@given(st.lists(st.floats(0.01, 10), min_size=2, max_size=4), st.randoms(use_true_random=False))
def test_the_order_of_devices_changes_no_question(idle_a: list[float], chance: Any) -> None:
    """Matched is matched whichever stands first; equal currents always are."""
    mixed = list(idle_a)
    chance.shuffle(mixed)
    first = judge(Sheet(device=[DeviceSetUp(idle_a=a) for a in idle_a]))
    second = judge(Sheet(device=[DeviceSetUp(idle_a=a) for a in mixed]))
    assert first.idle_spread == pytest.approx(second.idle_spread)
    assert first.idle_spread is not None
    assume(abs(first.idle_spread - IDLE_SPREAD) > 1e-9)
    assert asked(first) == asked(second)
    assert asked(judge(Sheet(device=[DeviceSetUp(idle_a=idle_a[0])] * len(idle_a)))) == set()


def test_an_empty_sheet_asks_nothing_and_says_of_every_check_that_it_is_not_judged() -> None:
    """Nothing is never good."""
    judged = judge(Sheet())
    assert judged.questions == []
    assert {each.check for each in judged.not_judged} == {
        "fm-carrier",
        "am-peak",
        "gain",
        "idle-match",
        "bias-match",
        "device-data",
    }


@pytest.mark.parametrize(
    ("sheet", "check", "says"),
    [
        (Sheet(before=Power(ssb_pep_w=25), after=Power(ssb_pep_w=20)), "gain", "less than before"),
        (Sheet(before=Power(ssb_pep_w=10), after=Power(ssb_pep_w=30)), "gain", "more than 3 dB"),
        (Sheet(before=Power(fm_w=10, meter="a"), after=Power(fm_w=10, meter="b")), "meter", "two meters"),
        (Sheet(after=Power(am_carrier_w=10, am_pep_w=5)), "am-peak", "under the carrier"),
        (Sheet(device=[DeviceSetUp(bias_v=4.2), DeviceSetUp(bias_v=3.1)]), "bias-match", "1.10 V apart"),
    ],
)
def test_each_doubt_has_its_sentence(sheet: Sheet, check: str, says: str) -> None:
    """With what to look at."""
    (question,) = judge(sheet).questions
    assert question.check == check
    assert says in question.text


# --- half-filled -------------------------------------------------------------------------------------------------


@settings(deadline=None)
@given(typed_sheets)
def test_whatever_is_typed_is_judged(typed: dict[str, Any]) -> None:
    """What can't be a sheet is named by its field, and nothing is raised."""
    judged = judge_typed(typed)
    assert set(judged.missing) <= {"number", "unit"}
    if not judged.problems and not judged.missing:
        Booking.model_validate(typed)


def test_a_half_typed_sheet_is_judged_by_what_is_right_in_it() -> None:
    """A wrong field costs its own check and no other; what is still needed is named."""
    judged = judge_typed(
        {
            "unit": "MR-25 no. 014",
            "before": {"am_carrier_w": "14", "fm_w": 10, "ssb_pep_w": "twenty"},
            "device": [{"idle_a": 0.2}, {"idle_a": -1}, {"idle_a": 0.4}],
            "colour": "grey",
        }
    )
    assert judged.missing == ["number"]
    assert {problem.field for problem in judged.problems} == {"before.ssb_pep_w", "device[2].idle_a", "colour"}
    assert asked(judged) == {"fm-carrier", "idle-match"}
    idle = next(question for question in judged.questions if question.check == "idle-match")
    assert idle.fields == ["device[1].idle_a", "device[3].idle_a"]
