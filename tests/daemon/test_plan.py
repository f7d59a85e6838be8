"""Plans: what a file may say, where a moment lies, and what a person is told when a field is wrong."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.errors import BadFile
from daemon.plan import Plan
from sensors.types import Drive

CYCLES = """
name = "cycles"
[[phase]]
drive = "off"
minutes = 1
[[phase]]
drive = "idle"
minutes = 1
[[phase]]
drive = "carrier"
minutes = 4
on_s = 60
off_s = 30
"""


def test_a_moment_tells_phase_drive_and_key() -> None:
    """Off, then keyed throughout, then keyed and rested in turn, each at its second."""
    plan = Plan.from_toml(CYCLES)
    moments = {t: plan.at(t) for t in (0.0, 59.9, 60.0, 119.9, 120.0, 179.9, 180.0, 209.9, 210.0, 359.9, 360.0)}
    assert [m.key for m in moments.values()] == [0, 0, 1, 1, 1, 1, 0, 0, 1, 1, 0]
    assert moments[60.0].drive is Drive.IDLE
    assert moments[120.0].drive is Drive.CARRIER
    assert moments[120.0].on_limit_s == 60


def test_the_key_down_time_is_counted_over_cycles_and_their_remainder() -> None:
    """1 min idle and, of 240 s in cycles of 60 + 30, two whole ones and a last on-time of 60 s: 240 s in all."""
    assert Plan.from_toml(CYCLES).key_down_s == 60 + 3 * 60


@given(st.floats(0, 359.999))
def test_the_summed_key_down_time_agrees_with_the_moments(elapsed_s: float) -> None:
    """At any moment the drive belongs to the phase whose span holds it."""
    plan = Plan.from_toml(CYCLES)
    phase = plan.view().phases[plan.at(elapsed_s).phase]
    assert phase.start_s <= elapsed_s < phase.end_s


@pytest.mark.parametrize(
    ("text", "field", "what"),
    [
        ("", "phase", "at least one [[phase]]"),
        ('[[phase]]\ndrive="carrier"', "phase[1].minutes", "is missing"),
        ('[[phase]]\ndrive="loud"\nminutes=1', "phase[1].drive", "'off', 'idle', 'carrier', 'two-tone' or 'modulated'"),
        ('[[phase]]\ndrive="idle"\nminutes=-1', "phase[1].minutes", "greater than 0"),
        ('[[phase]]\ndrive="idle"\nminutes=nan', "phase[1].minutes", "finite number"),
        ('[[phase]]\ndrive="idle"\nminutes=1\non_s=5', "phase[1]", "on_s and off_s go together"),
        ('[[phase]]\ndrive="idle"\nminute=1', "phase[1].minute", "misspelling"),
        ('[[phase]]\ndrive="off"\nminutes=1\n[limits]\nheatsink_c="hot"', "limits.heatsink_c", "valid number"),
        ("[[phase]", "", "is not TOML"),
    ],
)
def test_a_wrong_field_is_named_with_what_would_be_right(text: str, field: str, what: str) -> None:
    """Every message has the file, the field and the remedy."""
    with pytest.raises(BadFile) as caught:
        Plan.from_toml(text, "evening.toml")
    problems = caught.value.problems
    assert any(p.field == field and what in p.what for p in problems), problems
    assert str(caught.value).startswith("evening.toml: ")


def test_every_problem_is_told_not_the_first_alone() -> None:
    """Two wrong fields, two problems."""
    with pytest.raises(BadFile) as caught:
        Plan.from_toml('[[phase]]\ndrive="loud"\nminutes=0')
    assert {p.field for p in caught.value.problems} == {"phase[1].drive", "phase[1].minutes"}


@pytest.mark.parametrize("file", sorted((Path(__file__).parents[2] / "daemon" / "plans").glob("*.toml")), ids=str)
def test_the_plans_that_come_along_are_good(file: Path) -> None:
    """Each can be read, and asks for the key."""
    assert Plan.from_file(file).key_down_s > 0


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    """The path is in the message."""
    with pytest.raises(BadFile, match=r"none\.toml: can't be read"):
        Plan.from_file(tmp_path / "none.toml")
