"""What ``keysoak explain`` says of each rule."""

from alerts.explain import NAMES, explain
from alerts.limits import Limits


def test_every_rule_is_explained_with_its_limits_and_sources() -> None:
    """No rule without its sentence, its limits with defaults and descriptions, and its sources."""
    for name in NAMES:
        told = explain(name)
        assert told.computes.endswith(".")
        assert told.limits
        assert told.sources
        assert all(description for _, _, description in told.limits)


def test_every_limit_is_somebodys() -> None:
    """Every limit but those of all rules belongs to a rule that explains it."""
    told = {field for name in NAMES for field, _, _ in explain(name).limits}
    assert set(Limits.model_fields) - told <= {"off_delay_s", "activation_ev", "service_c"}
