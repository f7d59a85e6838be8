"""Ways of reading and getting about: back and forth, still pictures, the viewer's own clock and degrees, lost paths."""

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import pytest
from playwright.sync_api import Browser, Page, expect

from dashboard.viewer import zone_of
from tests.dashboard.conftest import daemon_in, served
from tests.dashboard.test_browser import settled
from tests.dashboard.test_pages import opened


def test_the_browser_s_back_goes_where_one_came_from(tab: Page, address: str) -> None:
    """Each page has an address of its own, and is made anew from it."""
    tab.goto(address)
    settled(tab, "/")
    tab.get_by_role("link", name="Jobs", exact=True).click()
    tab.get_by_role("link", name="Job 1", exact=True).click()
    settled(tab, "/job/1")
    tab.get_by_role("link", name="bay-1", exact=True).click()
    expect(tab.locator("main h1")).to_have_text("bay-1")
    for path, head in (("/job/1", "Job 1"), ("/jobs", "Jobs"), ("/", "The rack")):
        tab.go_back()
        expect(tab.locator("main h1")).to_contain_text(head)
        assert tab.url == address + path
    tab.go_forward()
    expect(tab.locator("main h1")).to_have_text("Jobs")


def test_who_wants_no_motion_gets_none(tab: Page, address: str) -> None:
    """Nothing moves by itself, as the system's setting asks; without it the beam swings."""
    tab.emulate_media(reduced_motion="reduce")
    tab.goto(address)
    settled(tab, "/")
    moves = (
        "() => [...document.querySelectorAll('*')].some((e) => ['transition-duration', 'animation-duration']"
        ".some((name) => parseFloat(getComputedStyle(e).getPropertyValue(name)) > 0))"
    )
    assert tab.evaluate(moves) is False
    tab.emulate_media(reduced_motion="no-preference")
    assert tab.evaluate(moves) is True


@pytest.mark.parametrize(
    ("zone", "read"),
    [
        ("America/New_York", "2025-11-25 02:00:00 EST"),
        ("Asia/Kolkata", "2025-11-25 12:30:00 IST"),
    ],
)
def test_times_are_by_the_viewer_s_clock_and_name_its_zone(
    browser: Browser, address: str, zone: str, read: str
) -> None:
    """Already on the first page that a browser opens here; the list of jobs has the zone at its head."""
    context = browser.new_context(timezone_id=zone)
    tab = context.new_page()
    tab.goto(f"{address}/job/1")
    expect(tab.locator("#beside")).to_contain_text(read)
    tab.goto(f"{address}/jobs")
    expect(tab.locator(".ledger")).to_contain_text(read[:16])
    expect(tab.locator("[role='columnheader'][col-id='started']")).to_contain_text(read[-3:])
    context.close()


@pytest.mark.parametrize("cookie", ["", "zone=", "zone=../etc/passwd", "zone=Mars/Base", "zone=Europe", "zone=%00"])
def test_a_zone_that_is_none_is_the_bench_s_own(page: httpx.Client, cookie: str) -> None:
    """And no error: a cookie is anybody's."""
    assert zone_of(cookie) is None
    assert "2025-11-25" in opened(page, "/job/1")


def test_a_shelf_is_in_the_viewer_s_degrees(tab: Page, address: str) -> None:
    """Its figure, its limit, and what is left to it: 25 °C are 77 °F, 75 °C are 167 °F (NIST SP 811, B.8)."""
    tab.context.add_cookies([{"name": "degrees", "value": "F", "url": address}])
    tab.goto(address)
    settled(tab, "/")
    bay = {
        "bay": "bay-9",
        "status": "keyed",
        "stale": False,
        "heard": 0,
        "job": 1,
        "number": "J-1",
        "unit": "",
        "ask": None,
    }
    bay |= {"plan": None, "elapsed_s": 0, "left_s": None, "tags": [], "strip": [], "forecast": [], "reasons": []}
    figures: dict[str, Any] = {
        "heatsink_c": 25.0,
        "heatsink_limit_c": 75.0,
        "time_to_limit_s": None,
        "drains_a": [],
        "forward_w": None,
    }
    bay |= {"figures": figures | {"forward_change_db": None, "swr": None}, "key_lent": True, "key_seen": True}
    text = tab.evaluate(
        """async (bay) => {
             const { makeShelf, setShelf } = await import('/assets/shelf.js');
             const shelf = makeShelf(bay.bay);
             setShelf(shelf, bay, 0, false);
             return shelf.heat.node.textContent;
           }""",
        bay,
    )
    assert text.replace("\u00a0", " ") == "heatsink77.0 °Flimit 167 °F"


@pytest.fixture
def lost(browser: Browser) -> Iterator[Page]:
    """A tab that may complain of a page that is not there."""
    tab = browser.new_page()
    yield tab
    tab.close()


def test_a_path_that_leads_nowhere_says_so_and_keeps_the_red_button(lost: Page, address: str) -> None:
    """With 404, and ways on."""
    answer = lost.goto(f"{address}/no/such/page")
    assert answer is not None
    assert answer.status == 404
    expect(lost.locator("main h1")).to_have_text("There is no such page")
    expect(lost.get_by_role("button", name="Unkey all")).to_be_visible()
    lost.get_by_role("link", name="All jobs").click()
    expect(lost.locator("main h1")).to_have_text("Jobs")


def test_a_page_heals_by_itself_when_the_daemon_comes_back(tab: Page, tmp_path: Path) -> None:
    """Loud while it is gone, well within three seconds of its return, without a press."""
    with ExitStack() as first:
        api = first.enter_context(daemon_in(tmp_path))
        with served(api) as port:
            tab.goto(f"http://127.0.0.1:{port}")
            settled(tab, "/")
            expect(tab.locator("#outage")).not_to_be_visible()
            first.close()
            expect(tab.locator("#outage")).to_be_visible(timeout=4_000)
            expect(tab.locator("#pulse")).to_contain_text("Silent for")
            with daemon_in(tmp_path, keep=lambda _: None, port=int(api.rpartition(":")[2])):
                expect(tab.locator("#outage")).not_to_be_visible(timeout=3_000)
                expect(tab.locator("#pulse")).to_contain_text("keyed")
