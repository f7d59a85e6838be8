"""How figures are written in sentences."""

import pytest

from alerts.watch import percent, span


@pytest.mark.parametrize(("ratio", "text"), [(0.015, "1.5 %"), (0.02, "2 %"), (0.26, "26 %"), (-0.004, "-0.4 %")])
def test_a_small_ratio_is_not_rounded_away(ratio: float, text: str) -> None:
    """A limit of 1.5 % is written as such."""
    assert percent(ratio) == text


@pytest.mark.parametrize(("seconds", "text"), [(2.04, "2.0 s"), (45.4, "45 s"), (130.0, "2 min"), (7200.0, "120 min")])
def test_a_time_has_the_unit_that_it_is_felt_in(seconds: float, text: str) -> None:
    """Seconds with a tenth, seconds, minutes."""
    assert span(seconds) == text
