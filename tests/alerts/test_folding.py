"""Which alert may be folded under which."""

import pytest

from alerts.folding import EFFECTS, FOLD_S, folds, unknowable
from alerts.limits import Limits

#: the contract's names
NAMES = {
    "over-temperature",
    "thermal-forecast",
    "thermal-runaway",
    "current-imbalance",
    "bias-drift",
    "power-fade",
    "reflected-power",
    "load-temperature",
    "supply",
    "over-current",
    "keying",
    "sensor-fault",
    "link-lost",
}


def test_causes_and_effects_are_rules_by_the_contract_s_names() -> None:
    """No cause and no effect that no rule can raise."""
    assert set(EFFECTS) <= NAMES
    assert set().union(*EFFECTS.values()) <= NAMES


def test_a_stuck_key_is_folded_under_nothing_and_unknowable_by_no_lost_link() -> None:
    """The most dangerous of all is always told."""
    assert not any("keying" in effects for effects in EFFECTS.values())
    assert not unknowable("keying", "trip")


def test_the_window_lets_the_slowest_effect_be_told_of() -> None:
    """The imbalance needs its dwell and some samples after the over-current that made it."""
    assert Limits().imbalance_dwell_s < FOLD_S


@pytest.mark.parametrize(
    ("cause", "effect", "apart_s", "folded"),
    [
        (("over-current", "trip"), ("supply", "warning"), 1.0, True),
        (("over-current", "trip"), ("supply", "trip"), FOLD_S, True),
        (("over-current", "trip"), ("supply", "trip"), FOLD_S + 0.1, False),  # too late to be its effect
        (("over-current", "warning"), ("supply", "trip"), 1.0, False),  # what presses more is not hidden by less
        (("over-current", "trip"), ("reflected-power", "warning"), 1.0, False),  # no effect of it
    ],
)
def test_an_effect_is_folded_if_it_is_plain_no_worse_and_soon(
    cause: tuple[str, str], effect: tuple[str, str], apart_s: float, folded: bool
) -> None:
    """All three, or it is an alert of its own."""
    assert folds(*cause, *effect, apart_s) is folded


def test_a_lost_link_makes_a_warning_unknowable_but_no_trip() -> None:
    """That a bay tripped stays true without a link; and a lost link knows of itself."""
    assert unknowable("over-temperature", "warning")
    assert not unknowable("over-temperature", "trip")
    assert not unknowable("link-lost", "warning")
