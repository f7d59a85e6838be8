"""Which part of a soak the curves show: assets/span.js, in a real browser."""

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from playwright.sync_api import Page

LEAST_S, WHOLE_S = 10.0, 7200.0
INSIDE = st.floats(0.0, WHOLE_S)
HOWS = st.sampled_from(["whole", "earlier", "later", "closer", "wider"])
Span = list[float] | None


@pytest.fixture
def job(tab: Page, address: str) -> Page:
    """A page that has charts."""
    tab.goto(f"{address}/job/1")
    tab.wait_for_function("() => window.dash_clientside?.keysoak")
    return tab


def after(job: Page, span: Span, hows: list[str], whole: list[float]) -> list[Span]:
    """The spans after each of these presses."""
    said: list[Span] = job.evaluate(
        """([span, hows, whole]) => hows.map((how) => (span = dash_clientside.keysoak.moved(span, how, whole)))""",
        [span, hows, whole],
    )
    return said


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=60)
@given(a=INSIDE, b=INSIDE, hows=st.lists(HOWS, min_size=1, max_size=12), first=st.sampled_from([0.0, -120.0]))
def test_no_way_of_moving_leaves_the_soak(job: Page, a: float, b: float, hows: list[str], first: float) -> None:
    """Whatever is pressed, in whatever order; soaks side by side begin before key-on."""
    begun: Span = [min(a, b), max(a, b) + LEAST_S] if max(a, b) + LEAST_S <= WHOLE_S else None
    for span in after(job, begun, hows, [first, WHOLE_S]):
        if span is not None:
            assert first <= span[0] < span[1] <= WHOLE_S + 1e-6
            assert span[1] - span[0] >= LEAST_S - 1e-6


def test_closer_halves_about_the_middle_and_wider_undoes_it(job: Page) -> None:
    """And twice the whole is the whole."""
    assert after(job, None, ["closer", "wider"], [0.0, WHOLE_S]) == [[1800.0, 5400.0], None]


def test_earlier_and_later_stop_at_the_ends(job: Page) -> None:
    """By half of what is shown."""
    for begun, how, wanted in (
        ([100.0, 300.0], "later", [200.0, 400.0]),
        ([50.0, 250.0], "earlier", [0.0, 200.0]),
        ([7100.0, 7200.0], "later", [7100.0, 7200.0]),
    ):
        assert after(job, begun, [how], [0.0, WHOLE_S]) == [wanted]


def test_a_drag_on_the_charts_is_understood(job: Page) -> None:
    """In minutes there, in seconds here; a change of size asks for nothing."""
    for said, wanted in (
        ({"xaxis.range[0]": 1.0, "xaxis.range[1]": 2.0}, [60.0, 120.0]),
        ({"xaxis.range": [1.0, 2.0]}, [60.0, 120.0]),
        ({"xaxis.range[0]": -3.0, "xaxis.range[1]": 2.0}, [0.0, 120.0]),
        ({"xaxis.autorange": True}, None),
        ({"autosize": True}, "nothing"),
        ({"yaxis2.range[0]": 1.0}, "nothing"),
        ({}, "nothing"),
        (None, "nothing"),
    ):
        heard: Any = job.evaluate(
            """(said) => { const span = dash_clientside.keysoak.dragged(said, [0, 7200]);
                 return span === undefined ? "nothing" : span; }""",
            said,
        )
        assert heard == wanted
