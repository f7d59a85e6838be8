"""The page in a real browser."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect

from tests.chromium import chromium
from tests.journeys.children import until
from tests.journeys.rig import BAYS, Rig

pytestmark = pytest.mark.journey

ASKS = '[[phase]]\ndrive = "carrier"\nminutes = 10\nask = "Set FM"\n'


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A browser for all of these."""
    with chromium() as browser:
        yield browser


def test_a_page_that_stands_open_shows_a_fault_unkeys_by_one_press_and_is_loud_when_the_daemon_dies(
    rig: Rig, browser: Browser
) -> None:
    """A fault by word, tag, sentence and count, while others go on; one press each, no question asked; then silence.

    No figure looks alive then, and a press that reached nobody is never taken for one that did.
    """
    rig.start_daemon()
    rig.soak_keyed()
    page_at = rig.start_page().url
    complaints: list[str] = []
    page = browser.new_page()
    page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda err: complaints.append(str(err)))
    page.goto(page_at)
    shelf = page.get_by_role("region", name="Bay bay-1")
    expect(shelf).to_contain_text("keyed")
    rig.twins.do("fault", "bay-1", fault={"kind": "bad-load", "gamma": 0.7})
    expect(shelf).to_contain_text("tripped")
    expect(shelf.locator(".tag-trip")).to_have_count(1)
    expect(shelf.locator(".edge-card")).to_contain_text("look at the dummy load")
    expect(page.locator("#alert-count")).to_have_text("1")

    shelf = page.get_by_role("region", name="Bay bay-2")
    expect(shelf).to_contain_text("keyed")
    since = rig.twins.mark()
    shelf.get_by_role("button", name="Unkey bay-2").click()
    assert rig.twins.event("key", "bay-2", since, on=False)["why"] == "told"
    expect(shelf).to_contain_text("unkeyed", ignore_case=True)
    assert rig.bay("bay-2").status == "dropped"
    assert [bay for bay in BAYS if rig.twins.keyed(bay)] == ["bay-3", "bay-4"]

    page.get_by_role("button", name="Unkey all").click()
    until(lambda: not any(rig.twins.keyed(bay) for bay in BAYS), "every twin unkeyed")
    expect(shelf).not_to_have_class(re.compile("stale"))
    assert complaints == []

    rig.daemon.kill()
    expect(page.locator("#outage")).not_to_be_empty()
    expect(shelf).to_contain_text("silent")
    page.get_by_role("button", name="Unkey all").click()
    expect(page.locator("#said")).to_contain_text("FAILED", ignore_case=True)
    page.close()


def test_a_plan_that_asks_waits_until_a_press_says_done_and_its_chart_shows_the_wait(
    rig: Rig, browser: Browser
) -> None:
    """Unkeyed meanwhile; the press keys it again, and the job's band has the wait between its phases."""
    rig.start_daemon()
    rig.soak('[[phase]]\ndrive = "off"\nminutes = 0.02\n' + ASKS, ["bay-1"])
    page = browser.new_page()
    page.goto(rig.start_page().url)
    shelf = page.get_by_role("region", name="Bay bay-1")
    expect(shelf.locator(".edge-card")).to_contain_text("Set FM")
    expect(shelf).to_contain_text("waiting")
    since = rig.twins.mark()
    shelf.get_by_role("button", name="Done").click()
    rig.twins.event("key", "bay-1", since, on=True)
    expect(shelf).to_contain_text("keyed")
    expect(shelf.locator(".stood")).to_have_count(1)
    job = until(lambda: rig.client.job(rig.bay("bay-1").job or 0), "the job")
    until(lambda: [w for w in rig.client.job(job.job).waits if w.until_s], "that the wait is kept")
    page.goto(f"{rig.page.url}/job/{job.job}")
    page.wait_for_function(
        "() => document.querySelector('.js-plotly-plot')?.data?.find((d) => d.name === 'waited')?.x.length === 1",
    )
    expect(page.locator("#beside")).to_contain_text("stood still")
    page.close()


def test_a_cut_supply_is_said_on_every_page_and_released_with_a_note_by_keyboard_alone(
    rig: Rig, browser: Browser
) -> None:
    """From the shelf to the form by keys; without a note nothing is sent; released, the shelf says so by itself."""
    rig.start_daemon()
    page = browser.new_page()
    page.goto(rig.start_page().url)
    shelf = page.get_by_role("region", name="Bay bay-1")
    expect(shelf).to_be_visible()
    expect(shelf.get_by_role("link", name="Release the supply of bay-1")).to_be_hidden()
    rig.twins.do("fault", "bay-1", fault={"kind": "stuck-key"})
    rig.soak_keyed(bays=["bay-1"])
    rig.client.unkey("bay-1")
    expect(shelf.locator(".state")).to_have_text("supply cut")
    expect(shelf.locator(".edge-card")).to_contain_text("A of drain current")
    page.goto(f"{rig.page.url}/alerts")
    expect(page.get_by_role("link", name="Release the supply …")).to_be_visible()

    page.goto(rig.page.url)
    way = shelf.get_by_role("link", name="Release the supply of bay-1")
    expect(way).to_be_visible()
    for _ in range(40):
        page.keyboard.press("Tab")
        if way.evaluate("e => e === document.activeElement"):
            break
    page.keyboard.press("Enter")
    form = page.get_by_role("region", name="The supply of this radio is cut")
    expect(form).to_contain_text("A of drain current")
    start = page.get_by_role("button", name="Start the soak")
    expect(start).to_be_hidden()  # nothing can soak without a supply
    form.get_by_label("Your name").focus()
    page.keyboard.type("Ada")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert rig.bay("bay-1").supply_cut
    page.keyboard.type("keying relay changed")
    page.keyboard.press("Enter")
    expect(form).to_have_count(0)
    expect(start).to_be_visible()
    expect(page.locator(".shelf .state")).not_to_have_text("supply cut")
    assert page.evaluate("document.activeElement.tagName") == "H1"
    until(lambda: not rig.bay("bay-1").supply_cut, "the release")
    history = [c for alert in rig.client.alerts() if alert.subject == "supply cut" for c in alert.history]
    assert any("released by Ada: keying relay changed" in change.text for change in history)
    page.close()
