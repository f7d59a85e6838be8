"""Limits: defaults that serve, and errors that name the field."""

import pytest
from pydantic import ValidationError

from alerts.limits import Limits


def test_every_limit_has_a_default_a_description_and_is_a_number() -> None:
    """The defaults alone serve, and a page can list every limit with what it is."""
    for name, field in Limits.model_fields.items():
        assert field.annotation is float, name
        assert field.description, name
        assert not field.is_required(), name


def test_every_limit_says_its_unit() -> None:
    """A bare number has its unit in its name; the ratios say so, or are SWR or a loop gain."""
    units = ("_c", "_s", "_a", "_v", "_w", "_j", "_ratio", "_samples", "_db", "_ohm", "_k_per_w", "_ev")
    assert [n for n in Limits.model_fields if not n.endswith(units) and not n.startswith(("swr", "loop_gain"))] == []


@pytest.mark.parametrize(
    "wrong", [{"heatsink": 70.0}, {"swr": 0.5}, {"swr_dwell_s": -1}, {"total_a": "much"}, {"heatsink_c": float("nan")}]
)
def test_a_wrong_limit_is_an_error_that_names_it(wrong: dict[str, object]) -> None:
    """Unknown names, impossible values, text and nan are refused by field."""
    with pytest.raises(ValidationError) as refused:
        Limits.model_validate(wrong)
    assert refused.value.errors()[0]["loc"] == (next(iter(wrong)),)
