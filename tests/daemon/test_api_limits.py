"""What the API says of the limits."""

import re
from pathlib import Path

import alerts.rules
from alerts.limits import Limits
from daemon.api.limits import RULES_OF, limit_views, unit_of

RULES = {p.stem.replace("_", "-"): p.read_text() for p in Path(alerts.rules.__path__[0]).glob("[a-z]*.py")}


def test_every_limit_is_told_with_its_meaning() -> None:
    """A new limit can't be forgotten, and one that is gone can't stay."""
    views = limit_views({})
    assert [v.limit for v in views] == list(Limits.model_fields)
    assert set(RULES_OF) == set(Limits.model_fields)
    assert all(v.meaning for v in views)


def test_the_rules_that_are_told_are_those_that_go_by_a_limit() -> None:
    """Where a rule's own text reads a limit, the limit names the rule."""
    assert {rule for rules in RULES_OF.values() for rule in rules} == set(RULES)
    for rule, text in RULES.items():
        for limit in re.findall(r"\blimits\.([a-z_]+)", text):
            assert rule in RULES_OF[limit], (rule, limit)


def test_a_limit_that_a_running_plan_changes_is_told_by_bay() -> None:
    """And only where it is another than the default."""
    found = {v.limit: v for v in limit_views({"bay-1": Limits(heatsink_c=70.0), "bay-2": Limits()})}
    assert found["heatsink_c"].bays == {"bay-1": 70.0}
    assert found["heatsink_c"].value == 75.0
    assert found["swr"].bays == {}


def test_a_unit_comes_from_the_name() -> None:
    """A margin is a difference, which is no temperature."""
    units = {"heatsink_c": "Cel", "heatsink_margin_c": "K", "temperature_deadband_c": "K", "supply_min_v": "V"}
    units |= {
        "swr": "1",
        "imbalance_ratio": "/",
        "source_ohm": "Ohm",
        "junction_k_per_w": "K/W",
        "activation_ev": "eV",
        "fade_db": "dB",
        "silent_samples": "1",
    }
    assert {name: unit_of(name) for name in units} == units
