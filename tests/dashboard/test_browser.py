"""The page's own scripts and styles in a real browser, with a real daemon behind."""

import re
from contextlib import ExitStack
from itertools import product
from typing import Final, Literal

import pytest
from playwright.sync_api import Page, expect

from tests.dashboard.conftest import served

PATHS = (
    *("/", "/jobs", "/job/1", "/bay/bay-1", "/alerts", "/links", "/limits", "/about", "/plans", "/compare"),
    *("/book", "/lots", "/calibrations"),
)

SCHEMES: Final[tuple[Literal["light", "dark"], ...]] = ("light", "dark")


def settled(tab: Page, path: str) -> None:
    """Wait until a page has what it shows."""
    expect(tab.locator("main h1")).to_have_count(1)
    if path in ("/", "/bay/bay-1"):
        expect(tab.locator(".shelf").first).to_be_visible()
    if path == "/plans":
        expect(tab.locator(".plan-block").first).to_be_visible()
    if path == "/job/1":
        expect(tab.locator(".js-plotly-plot .main-svg").first).to_be_visible()


@pytest.mark.parametrize("path", PATHS)
def test_no_page_scrolls_sideways_and_every_target_is_large_enough(tab: Page, address: str, path: str) -> None:
    """44 px for a finger in a glove; links inside a sentence are left out, as WCAG 2.2 (2.5.8) leaves them out.

    From a screen to a phone, light and dark.
    """
    tab.goto(address + path)
    settled(tab, path)
    for wide, scheme in product((1280, 768, 390), SCHEMES):
        tab.set_viewport_size({"width": wide, "height": 844})
        tab.emulate_media(color_scheme=scheme)
        # charts are laid out anew a moment later
        tab.wait_for_function("(wide) => innerWidth === wide && document.documentElement.scrollWidth <= wide", arg=wide)
        small = tab.evaluate(
            """() => [...document.querySelectorAll("button, a, input, textarea, summary")].filter((e) => {
                 const box = e.getBoundingClientRect();
                 return box.width && box.left >= 0 && !e.closest("p") && (box.height < 43.5 || box.width < 43.5);
               }).map((e) => e.outerHTML.slice(0, 120))"""
        )
        assert small == [], f"{wide} px"
        assert tab.get_by_role("button", name="Unkey all").is_visible()


def test_the_rack_page_loads_no_plotly(tab: Page, address: str) -> None:
    """It is most of what Dash could load, and a tablet beside a radio needs none of it."""
    loaded: list[str] = []
    tab.on("request", lambda asked: loaded.append(asked.url))
    tab.goto(address)
    settled(tab, "/")
    assert loaded
    assert not any("dash_table" in url or "plotly" in url or "async-graph" in url for url in loaded)


def test_a_job_s_page_loads_the_small_library_alone_and_is_drawn_by_it(tab: Page, address: str) -> None:
    """Dash's graph would fetch the whole one, four times as large, where it found none."""
    loaded: list[str] = []
    tab.on("request", lambda asked: loaded.append(asked.url))
    tab.goto(f"{address}/job/1")
    settled(tab, "/job/1")
    assert [url.rpartition("/")[2] for url in loaded if "plotly" in url] == ["plotly-basic.min.js"]
    assert not [url for url in loaded if "_dash-update-component" in url], "the curves come with the page"
    assert len([url for url in loaded if "_dash-layout" in url]) == 1, "it is asked for early, and not once more"


def test_a_bay_that_was_never_heard_is_loud(tab: Page, address: str) -> None:
    """Struck through, with a word."""
    tab.goto(address)
    shelf = tab.get_by_role("region", name="Bay bay-1")
    expect(shelf).to_contain_text("never heard")
    expect(shelf.locator(".big").first).to_have_css("text-decoration-line", "line-through")


def test_a_shelf_that_is_there_for_one_job_goes_with_it(tab: Page, address: str) -> None:
    """What a bay soaks next must not be unkeyed from the page of what it soaked before."""
    tab.goto(f"{address}/bay/bay-1")
    settled(tab, "/bay/bay-1")
    tab.evaluate("document.getElementById('rack').dataset.job = '7'")
    expect(tab.get_by_role("button", name="Unkey bay-1")).to_be_hidden()
    tab.evaluate("delete document.getElementById('rack').dataset.job")
    expect(tab.get_by_role("button", name="Unkey bay-1")).to_be_visible()


def test_a_page_heals_by_itself_when_the_dashboard_comes_back(tab: Page, api: str) -> None:
    """Loud while it is gone, a press says that it failed, and all is well within a second of its return."""
    with ExitStack() as first:
        port = first.enter_context(served(api))
        tab.goto(f"http://127.0.0.1:{port}")
        settled(tab, "/")
        expect(tab.locator("#outage")).not_to_be_visible()
        first.close()
    expect(tab.locator("#outage")).to_be_visible(timeout=4_000)
    tab.get_by_role("button", name="Unkey all").click()
    expect(tab.locator("#said")).to_contain_text("pull the key line")
    with served(api, port):
        expect(tab.locator("#outage")).not_to_be_visible(timeout=2_000)
        tab.get_by_role("button", name="Unkey bay-2").click()
        expect(tab.locator("#said")).to_contain_text("Unkeyed: bay-2")


def test_every_order_can_be_given_from_the_keyboard_and_its_focus_is_seen(tab: Page, address: str) -> None:
    """The first stops are the skip link, the pages, and the red button."""
    tab.goto(address)
    settled(tab, "/")
    focused = tab.locator(":focus")
    for _ in range(9):
        tab.keyboard.press("Tab")
        if focused.inner_text() == "Unkey all":
            break
    expect(focused).to_have_text("Unkey all")
    assert focused.evaluate("e => getComputedStyle(e).outlineStyle") == "solid"
    tab.keyboard.press("Enter")
    expect(tab.locator("#said")).to_contain_text("Unkeyed")


def test_a_wrong_plan_is_told_in_the_form(tab: Page, address: str) -> None:
    """The field and what would be right, beside the text that was sent; nothing was started."""
    tab.goto(f"{address}/bay/bay-1")
    tab.locator("#plan-choice option[value='evening-soak']").wait_for(state="attached")
    tab.get_by_label("Plan", exact=True).select_option("evening soak")
    box = tab.get_by_label("Text of the plan")
    expect(box).to_have_value(re.compile('name = "evening soak"'))
    box.fill('[[phase]]\ndrive = "loud"\nminutes = 1\n')
    expect(tab.locator("#estimate-problems")).to_contain_text("phase[1].drive")
    with tab.expect_response("**/soak") as answer:
        tab.get_by_role("button", name="Start the soak").click()
    assert answer.value.status == 422
    expect(tab.locator(".form-said")).to_contain_text("phase[1].drive")


def test_a_load_that_is_too_small_is_told_on_the_bay_s_page_too(tab: Page, address: str) -> None:
    """As it is typed, and in the answer to a start; what the load takes goes with the order."""
    tab.goto(f"{address}/bay/bay-1")
    problems = tab.locator("#estimate-problems")
    expect(problems).to_contain_text("say how many watts")
    start = tab.get_by_role("button", name="Start the soak")
    said = tab.locator(".form-said")
    tab.get_by_label("Dummy load, continuously").fill("20")
    expect(problems).to_contain_text("more than the 20 W")
    start.click()
    expect(said).to_contain_text("more than the 20 W")
    tab.get_by_label("Dummy load, continuously").fill("30")
    expect(problems).to_contain_text("The load takes it")
    start.click()
    expect(said).to_contain_text("nothing is heard from bay-1")


def test_the_beam_tips_to_the_hungrier_device(tab: Page, address: str) -> None:
    """And lies level where there is nothing to compare or nothing flows."""
    tab.goto(address)
    for drains, leans in (
        *(([2.0, 2.5], 1), ([2.5, 2.0], -1), ([2, 2, 2, 3], 1)),
        *(([2.0, 2.0], 0), ([2.0], 0), ([], 0), ([0.01, 0.0], 0)),
    ):
        deg = tab.evaluate("async (d) => (await import('/assets/beam.js')).weigh(d).deg", drains)
        assert (deg > 1) - (deg < -1) == leans, drains
        assert abs(deg) <= 16


def test_a_zoom_fetches_finer_readings(tab: Page, address: str) -> None:
    """The axis follows, and the button shows the whole soak again."""
    tab.goto(f"{address}/job/1")
    settled(tab, "/job/1")
    expect(tab.locator(".js-plotly-plot .scatterlayer .trace").first).to_be_attached()
    whole_s = wide_s(tab)
    tab.get_by_role("button", name="Closer").click()
    until_wide(tab, whole_s / 2)
    tab.get_by_role("button", name="Whole soak").click()
    until_wide(tab, whole_s)


WIDE = "() => { const [a, b] = document.querySelector('.js-plotly-plot').layout.xaxis.range; return (b - a) * 60; }"


def wide_s(tab: Page) -> float:
    """How many seconds the charts show."""
    return float(tab.evaluate(WIDE))


def until_wide(tab: Page, wanted_s: float) -> None:
    """Wait until they show so many."""
    tab.wait_for_function(f"(wanted) => Math.abs(({WIDE})() - wanted) < 1", arg=wanted_s)
