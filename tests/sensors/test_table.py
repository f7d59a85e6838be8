"""Straight lines between points."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.errors import ConversionUnfit
from sensors.table import between

patient = settings(deadline=None)
numbers = st.floats(-1e6, 1e6)


@patient
@given(st.lists(st.integers(-1000, 1000), min_size=2, max_size=20, unique=True), st.data())
def test_every_point_is_met_and_values_between_lie_between(whole: list[int], data: st.DataObject) -> None:
    """At a point the value is the point's; between two points it lies between their values."""
    xs = [float(x) for x in sorted(whole)]
    ys = data.draw(st.lists(numbers, min_size=len(xs), max_size=len(xs)))
    at = between(xs, ys)
    for x, y in zip(xs, ys, strict=True):
        assert at(x) == y
    i = data.draw(st.integers(0, len(xs) - 2))
    x = data.draw(st.floats(xs[i], xs[i + 1]))
    low, high = sorted(ys[i : i + 2])
    slack = 1e-9 * max(1.0, abs(low), abs(high))
    assert low - slack <= at(x) <= high + slack


@pytest.mark.parametrize("x", [-0.001, 2.001, math.inf, -math.inf, math.nan])
def test_nothing_is_given_outside(x: float) -> None:
    """Before the first point, after the last, and for what is no number, there is no value."""
    assert math.isnan(between([0.0, 1.0, 2.0], [1.0, 3.0, 2.0])(x))


@pytest.mark.parametrize("xs", [[1.0], [1.0, 1.0], [2.0, 1.0]])
def test_points_that_make_no_table_are_refused(xs: list[float]) -> None:
    """One point, or points that do not rise, are a ConversionUnfit that names the table."""
    with pytest.raises(ConversionUnfit) as unfit:
        between(xs, xs)
    assert unfit.value.field == "table"
