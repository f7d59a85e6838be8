"""Plans that are saved here."""

from pathlib import Path

import pytest

from daemon.api.plans import judge_plan, plans_to_begin_from, save_plan, saved_plans
from daemon.errors import BadFile, Refused

TEXT = 'name = "{}"\n[[phase]]\ndrive = "carrier"\nminutes = 2\n'


def test_a_saved_plan_is_there_again_as_it_was_written(tmp_path: Path) -> None:
    """With its comments, under its name."""
    text = "# ours\n" + TEXT.format("Night soak")
    assert save_plan(tmp_path / "plans", text, replace=False) == "night-soak"
    (found,) = saved_plans(tmp_path / "plans")
    assert (found.name, found.file, found.own, found.text) == ("Night soak", "night-soak", True, text)


@pytest.mark.parametrize(
    "name", ["../x", "a/b", "..", ".hidden", "a.toml", "", " ", "a\\\\b", "x" * 64, "é", "a\\u0000"]
)
def test_a_name_that_is_none_leaves_nothing_on_the_disk(tmp_path: Path, name: str) -> None:
    """Neither in the folder nor beside it."""
    folder = tmp_path / "data" / "plans"
    with pytest.raises(BadFile, match="name"):
        save_plan(folder, TEXT.format(name), replace=False)
    assert list(tmp_path.rglob("*.toml")) == []


def test_a_saved_plan_is_replaced_only_when_that_is_said(tmp_path: Path) -> None:
    """Also where the names differ in capitals alone."""
    save_plan(tmp_path, TEXT.format("night soak"), replace=False)
    with pytest.raises(Refused, match="saved already"):
        save_plan(tmp_path, TEXT.format("Night Soak"), replace=False)
    save_plan(tmp_path, TEXT.format("Night Soak"), replace=True)
    assert [plan.name for plan in saved_plans(tmp_path)] == ["Night Soak"]


def test_a_plan_that_comes_along_is_never_replaced(tmp_path: Path) -> None:
    """It stays what its name says to everybody."""
    with pytest.raises(Refused, match="comes with the program"):
        save_plan(tmp_path, TEXT.format(plans_to_begin_from()[0].name), replace=True)


def test_a_plan_that_a_person_broke_by_hand_keeps_no_other_from_the_list(tmp_path: Path) -> None:
    """It is left out."""
    save_plan(tmp_path, TEXT.format("good"), replace=False)
    (tmp_path / "broken.toml").write_text("[[phase")
    assert [plan.name for plan in saved_plans(tmp_path)] == ["good"]


def test_a_plan_is_judged_with_every_field_that_is_wrong() -> None:
    """And where nothing is wrong, with what it says."""
    judged = judge_plan('[[phase]]\ndrive = "loud"\nminutes = -1\n')
    assert judged.plan is None
    assert {p.field for p in judged.problems} == {"phase[1].drive", "phase[1].minutes"}
    good = judge_plan(TEXT.format("x"))
    assert good.plan is not None
    assert (good.plan.total_s, good.key_down_s, good.problems) == (120.0, 120.0, [])
