"""The main job without a pointer: a soak is started, watched, unkeyed and read about by keyboard alone."""

import re

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.chromium import chromium
from tests.journeys.children import until
from tests.journeys.rig import Rig

pytestmark = pytest.mark.journey

PLAN = '[[phase]]\ndrive = "carrier"\nminutes = 10\n'
MOST_TABS = 120


def tab_to(page: Page, wanted: Locator, *, back: bool = False) -> None:
    """Press Tab until it has the focus, which must be seen."""
    expect(wanted).to_be_visible()
    for _ in range(MOST_TABS):
        page.keyboard.press("Shift+Tab" if back else "Tab")
        if wanted.evaluate("e => e === document.activeElement"):
            assert wanted.evaluate("e => getComputedStyle(e).outlineStyle") != "none"
            return
    raise AssertionError(f"{wanted} can't be reached by Tab")


def test_the_main_job_is_done_by_keyboard_alone(rig: Rig) -> None:
    """From the rack to a bay, its form, the running soak, the red button, and the job's page."""
    rig.start_daemon()
    page_at = rig.start_page().url
    with chromium() as browser:
        page = browser.new_page()
        page.goto(page_at)
        tab_to(page, page.get_by_role("link", name="Bay bay-1"))
        page.keyboard.press("Enter")

        tab_to(page, page.get_by_label("Unit", exact=True))
        page.keyboard.type("MR-25 no. 014")
        box = page.get_by_label("Text of the plan")
        expect(box).to_have_value(re.compile("short look"))
        tab_to(page, box)
        page.keyboard.press("Control+a")
        page.keyboard.type(PLAN)
        since = rig.twins.mark()
        start = page.get_by_role("button", name="Start the soak")
        # the plan is judged first, which takes its time on a busy machine
        expect(start).to_be_enabled()
        tab_to(page, start)
        page.keyboard.press("Enter")
        rig.twins.event("key", "bay-1", since, on=True)
        expect(page.locator("#bay-now")).to_contain_text("MR-25 no. 014")

        since = rig.twins.mark()
        tab_to(page, page.get_by_role("button", name="Unkey all"), back=True)
        page.keyboard.press("Enter")
        assert rig.twins.event("key", "bay-1", since, on=False)["why"] == "told"
        until(lambda: rig.bay("bay-1").verdict == "incomplete", "the verdict")

        tab_to(page, page.locator(".plate-side[href]"))
        page.keyboard.press("Enter")
        expect(page.locator("#beside")).to_contain_text("Unkeyed by a person")
