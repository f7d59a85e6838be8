"""Degrees: what a viewer chose is kept in the browser, and both halves of the page's words go by it."""

import re
from collections.abc import Iterator
from contextlib import contextmanager

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st
from playwright.sync_api import Browser, Page, expect

from dashboard.viewer import degrees_of
from dashboard.words import DEGREES, instant, number, sentence, shown, unit_sign
from tests.dashboard.test_pages import opened


@contextmanager
def fahrenheit() -> Iterator[None]:
    """A viewer who reads degrees Fahrenheit."""
    token = DEGREES.set("F")
    try:
        yield
    finally:
        DEGREES.reset(token)


@pytest.mark.parametrize(("celsius", "degrees_f"), [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0), (37.0, 98.6)])
def test_temperatures_are_converted_as_nist_tells(celsius: float, degrees_f: float) -> None:
    """NIST SP 811 (2008), B.8 and B.9: t/°F = 1.8 t/°C + 32; the fixed points of water, and where both scales meet."""
    with fahrenheit():
        assert shown(celsius, "Cel") == pytest.approx(degrees_f)


@given(st.floats(-200, 500), st.floats(-200, 500))
def test_a_difference_of_temperatures_is_converted_as_one(one: float, other: float) -> None:
    """A margin of 5 K is 9 °F, not 41 °F."""
    with fahrenheit():
        assert shown(one - other, "K") == pytest.approx(shown(one, "Cel") - shown(other, "Cel"), abs=1e-9)
        assert shown(one, "W") == one


def test_without_a_choice_nothing_is_converted() -> None:
    """And the unit is said either way."""
    assert number(61.23, "Cel") == "61.2\u00a0°C"
    assert unit_sign("K") == "K"
    with fahrenheit():
        assert number(75.0, "Cel") == "167.0\u00a0°F"
        assert number(5.0, "K") == "9.0\u00a0°F"
        assert number(25.0, "W") == "25.00\u00a0W"


@pytest.mark.parametrize(
    ("said", "read"),
    [
        ("heatsink is 76.0 °C, over the limit of 75 °C", "Heatsink is 168.8 °F, over the limit of 167 °F"),
        ("it was −10.0 °C", "It was 14.0 °F"),
        ("it rises by 2.0 °C/min, 1.5 K over", "It rises by 2.0 °C/min, 1.5 K over"),
        ("the supply is 12.3 V", "The supply is 12.3 V"),
    ],
)
def test_a_sentence_has_its_temperatures_in_the_viewers_degrees(said: str, read: str) -> None:
    """With as many places as the rule gave; a rate is no temperature."""
    with fahrenheit():
        assert sentence(said) == read
    assert sentence(said).endswith(said[1:])


@pytest.mark.parametrize(
    ("cookie", "degrees"),
    [("degrees=F", "F"), ("a=b; degrees=F", "F"), ("degrees=C", "C"), ("degrees=K", "C"), ("", "C"), ("\x00;=;", "C")],
)
def test_a_cookie_is_a_choice_or_nothing(cookie: str, degrees: str) -> None:
    """Whatever else stands in it."""
    assert degrees_of(cookie) == degrees


def test_an_instant_names_its_zone() -> None:
    """A bench and a viewer may be in two."""
    assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d \S+", instant(1_764_054_000 * 10**9))


def test_a_page_made_by_the_server_is_in_the_viewers_degrees(page: httpx.Client) -> None:
    """One viewer's choice is not another's."""
    assert "75\u00a0°C" in opened(page, "/limits")
    page.cookies.set("degrees", "F")
    try:
        assert "167\u00a0°F" in opened(page, "/limits")
    finally:
        page.cookies.clear()
    assert "75\u00a0°C" in opened(page, "/limits")


def test_both_halves_of_the_words_say_the_same(browser: Browser, address: str) -> None:
    """What the server writes and what the page's scripts write stands on one page."""
    said = ["heatsink is 76.0 °C, over 75 °C", "it was −10.0 °C", "2.0 °C/min", "no figure"]
    context = browser.new_context()
    context.add_cookies([{"name": "degrees", "value": "F", "url": address}])
    tab = context.new_page()
    tab.goto(f"{address}/about")
    told = tab.evaluate("async (all) => { const w = await import('/assets/words.js'); return all.map(w.told); }", said)
    with fahrenheit():
        assert told == [sentence(text) for text in said]
    context.close()


def test_the_choice_is_a_press_at_the_foot_of_every_page(tab: Page, address: str) -> None:
    """It is kept, and the figures follow."""
    tab.goto(f"{address}/limits")
    expect(tab.locator("table.limits").first).to_be_visible()
    tab.get_by_role("button", name="°F").click()
    expect(tab.get_by_role("button", name="°F")).to_have_attribute("aria-pressed", "true")
    expect(tab.get_by_role("row", name=re.compile("^heatsink_c "))).to_contain_text("167 °F")
    expect(tab.get_by_role("row", name=re.compile("^heatsink_margin_c "))).to_contain_text("9 °F")
