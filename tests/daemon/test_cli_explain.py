"""``keysoak explain``."""

from typer.testing import CliRunner

from daemon.cli.main import app


def test_explain_says_what_a_rule_computes_its_limits_and_sources() -> None:
    """A rule's sentence, its limits with defaults, and the published source are on the page."""
    result = CliRunner().invoke(app, ["explain", "bias-drift"])
    assert result.exit_code == 0
    assert "CUSUM" in result.output
    assert "bias_drift_idle_ratio = 0.15" in result.output
    assert "Biometrika" in result.output


def test_explain_without_a_name_lists_the_rules() -> None:
    """Thirteen names, those of the contract."""
    result = CliRunner().invoke(app, ["explain"])
    assert len(result.output.split()) == 13
