"""Which part of a soak the curves show."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.span import LEAST_S, Span, moved, zoomed

WHOLE_S = 7200.0
INSIDE = st.floats(0.0, WHOLE_S)
HOWS = st.sampled_from(["whole", "earlier", "later", "closer", "wider"])


@given(INSIDE, INSIDE, st.lists(HOWS, max_size=12))
def test_no_way_of_moving_leaves_the_soak(a: float, b: float, hows: list[str]) -> None:
    """Whatever is pressed, in whatever order."""
    span: Span | None = Span(min(a, b), max(a, b) + LEAST_S) if max(a, b) + LEAST_S <= WHOLE_S else None
    for how in hows:
        span = moved(span, how, WHOLE_S)
        if span is not None:
            assert 0.0 <= span.from_s < span.to_s <= WHOLE_S + 1e-6
            assert span.to_s - span.from_s >= LEAST_S - 1e-6


def test_closer_halves_about_the_middle_and_wider_undoes_it() -> None:
    """And twice the whole is the whole."""
    near = moved(None, "closer", WHOLE_S)
    assert near == Span(1800.0, 5400.0)
    assert moved(near, "wider", WHOLE_S) is None


def test_earlier_and_later_stop_at_the_ends() -> None:
    """By half of what is shown."""
    assert moved(Span(100.0, 300.0), "later", WHOLE_S) == Span(200.0, 400.0)
    assert moved(Span(50.0, 250.0), "earlier", WHOLE_S) == Span(0.0, 200.0)
    assert moved(Span(7100.0, 7200.0), "later", WHOLE_S) == Span(7100.0, 7200.0)


@pytest.mark.parametrize(
    ("said", "wanted"),
    [
        ({"xaxis.range[0]": 1.0, "xaxis.range[1]": 2.0}, Span(60.0, 120.0)),
        ({"xaxis.range": [1.0, 2.0]}, Span(60.0, 120.0)),
        ({"xaxis.range[0]": -3.0, "xaxis.range[1]": 2.0}, Span(0.0, 120.0)),
        ({"xaxis.autorange": True}, None),
        ({"autosize": True}, False),
        ({"yaxis2.range[0]": 1.0}, False),
        ({}, False),
        (None, False),
    ],
)
def test_a_drag_on_the_charts_is_understood(said: dict[str, object] | None, wanted: object) -> None:
    """In minutes there, in seconds here; a change of size asks for nothing."""
    assert zoomed(said) == wanted
