"""The list of jobs in a real browser: searched, filtered, sorted, from the keyboard, on a phone."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.dashboard.conftest import daemon_in, served
from tests.dashboard.soaked import five_soaks


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the dashboard of a daemon with five soaks is served."""
    with daemon_in(tmp_path_factory.mktemp("soaked"), five_soaks) as api, served(api) as port:
        yield f"http://127.0.0.1:{port}"


def rows(tab: Page) -> list[str]:
    """The jobs that the list shows, from its top."""
    return tab.locator(".ag-center-cols-container .ag-row [col-id=job]").all_text_contents()


def opened(tab: Page, address: str) -> None:
    """The list, once it stands."""
    tab.goto(f"{address}/jobs")
    expect(tab.locator(".ag-center-cols-container .ag-row").first).to_be_visible()


def test_the_list_is_searched_and_filtered_by_verdict(tab: Page, address: str) -> None:
    """It says how many of how many are shown, and what it says when none is."""
    opened(tab, address)
    expect(tab.locator("#jobs-count")).to_have_text("5 soaks")
    tab.get_by_label("Search").fill("no. 016")
    expect(tab.locator("#jobs-count")).to_have_text("1 of 5 soaks")
    assert rows(tab) == ["Job 3"]
    tab.get_by_label("Search").fill("")
    tab.locator("#jobs-verdict").get_by_text("fail", exact=True).click()
    expect(tab.locator("#jobs-count")).to_have_text("1 of 5 soaks")
    assert rows(tab) == ["Job 4"]
    tab.locator("#jobs-verdict").get_by_text("incomplete", exact=True).click()
    expect(tab.get_by_text("No soak fits this search")).to_be_visible()


def test_a_press_on_a_head_sorts_and_enter_on_a_row_opens_it(tab: Page, address: str) -> None:
    """From the keyboard; back comes back to the list."""
    opened(tab, address)
    assert rows(tab) == ["Job 5", "Job 4", "Job 3", "Job 2", "Job 1"]
    tab.get_by_role("columnheader", name="Job").focus()
    tab.keyboard.press("Enter")
    expect(tab.locator(".ag-center-cols-container .ag-row[row-index='0'] [col-id=job]")).to_have_text("Job 1")
    tab.locator(".ag-row[row-index='0'] .ag-cell[col-id=number]").click()
    tab.keyboard.press("Enter")
    tab.wait_for_url("**/job/1")
    tab.go_back()
    expect(tab.locator(".ag-center-cols-container .ag-row").first).to_be_visible()


def test_ticked_soaks_are_laid_side_by_side(tab: Page, address: str) -> None:
    """From two on; before that the button says what to do."""
    opened(tab, address)
    link = tab.locator("#jobs-compare")
    expect(link).not_to_have_attribute("href", "x")
    for row in (2, 4):  # jobs 3 and 1; the boxes stand in a part of the list of their own
        tab.locator(f".ag-pinned-left-cols-container .ag-row[row-index='{row}'] input").check()
    expect(link).to_have_text("Lay 2 side by side")
    link.click()
    tab.wait_for_url("**/compare?jobs=1,3")


def fits(tab: Page) -> None:
    """Wait until the list is no wider than its place; it is laid out a moment after it stands."""
    tab.wait_for_function(
        "() => { const l = document.querySelector('.ag-center-cols-viewport');"
        " return l.scrollWidth - l.clientWidth <= 1; }"
    )


def test_on_a_tablet_the_reason_is_in_the_list_without_scrolling_it(tab: Page, address: str) -> None:
    """What there is no room for stands in a second line of the unit's cell."""
    tab.set_viewport_size({"width": 768, "height": 1024})
    opened(tab, address)
    failed = tab.locator(".ag-row", has_text="fail")
    expect(failed.locator("[col-id=why]")).to_have_text("Heat")
    expect(failed.locator("[col-id=unit]")).to_contain_text("bay-1 · 2025-11-25")
    fits(tab)


def test_a_column_is_filtered_by_a_box_that_comes_when_it_is_asked_for(tab: Page, address: str) -> None:
    """By keyboard; what is left in it stays in force, and the box with it, when the page is opened again."""
    opened(tab, address)
    box = tab.get_by_label("Unit Filter Input")
    expect(box).to_have_count(0)
    tab.get_by_role("button", name="Filter by column").focus()
    tab.keyboard.press("Enter")
    box.fill("017")
    expect(tab.locator("#jobs-count")).to_have_text("1 of 5 soaks")
    assert rows(tab) == ["Job 4"]
    tab.locator("#jobs-verdict").get_by_text("pass", exact=True).click()
    expect(tab.locator("#jobs-count")).to_have_text("0 of 5 soaks")
    tab.locator("#jobs-verdict").get_by_text("all", exact=True).click()
    tab.reload()
    expect(tab.locator("#jobs-count")).to_have_text("1 of 5 soaks")
    expect(box).to_have_value("017")


def test_on_a_phone_each_soak_is_a_card(tab: Page, address: str) -> None:
    """With its verdict, and nothing scrolls sideways."""
    tab.set_viewport_size({"width": 390, "height": 844})
    opened(tab, address)
    expect(tab.locator(".job-card").first).to_contain_text("pass")
    assert tab.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    fits(tab)
