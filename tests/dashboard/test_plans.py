"""The page of plans in a real browser: the band and the text are two faces of one plan."""

import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Page, expect

from daemon.api.plans import plans_to_begin_from
from daemon.plan import Plan
from tests.dashboard.conftest import daemon_in, served


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the daemon of these tests keeps what it keeps."""
    return tmp_path_factory.mktemp("plans")


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    """Where its dashboard is served."""
    with daemon_in(folder) as api, served(api) as port:
        yield f"http://127.0.0.1:{port}"


def opened(tab: Page, address: str, file: str = "evening-soak") -> None:
    """A plan in the editor, judged."""
    tab.goto(f"{address}/plans/{file}")
    expect(tab.locator(".plan-block").first).to_be_visible()


def text(tab: Page) -> Plan:
    """What the text beside the band says."""
    return Plan.from_toml(tab.locator("#plan-text").input_value())


def test_every_plan_that_comes_along_has_its_page(tab: Page, address: str) -> None:
    """And the page of all begins with one of them."""
    opened(tab, address, "../plans")
    for plan in plans_to_begin_from():
        expect(tab.locator(f".plan-shelf a[href='/plans/{plan.file}']")).to_have_count(1)
        opened(tab, address, plan.file)
        expect(tab.locator(".plan-block")).to_have_count(len(plan.plan.phases))


def test_the_keyboard_alone_changes_the_band_and_the_text_follows(tab: Page, address: str) -> None:
    """Add, stretch, move and remove; each is undone."""
    opened(tab, address)
    before = text(tab)
    tab.locator(".plan-block[aria-selected=true]").focus()
    tab.keyboard.press("ArrowRight")
    tab.keyboard.press("+")
    assert text(tab).phase[1].minutes > before.phase[1].minutes
    tab.keyboard.press("Alt+ArrowRight")
    assert [p.drive for p in text(tab).phase] == ["off", "carrier", "idle", "idle"]
    tab.keyboard.press("Insert")
    assert len(text(tab).phase) == 5
    tab.keyboard.press("Delete")
    tab.keyboard.press("Delete")
    assert len(text(tab).phase) == 3
    for _ in range(5):
        tab.keyboard.press("Control+z")
    assert text(tab).phase == before.phase


def test_a_pointer_stretches_a_block_at_its_edge_and_moves_it_elsewhere(tab: Page, address: str) -> None:
    """As far as it is dragged."""
    opened(tab, address, "two-hours")
    grip = tab.locator(".plan-block").nth(2).locator(".plan-grip").bounding_box()
    assert grip
    x, y = grip["x"] + grip["width"] / 2, grip["y"] + grip["height"] / 2
    tab.mouse.move(x, y)
    tab.mouse.down()
    tab.mouse.move(x - 150, y, steps=5)
    tab.mouse.up()
    minutes = text(tab).phase[2].minutes
    assert 30 < minutes < 55
    block = tab.locator(".plan-block").nth(2).bounding_box()
    last = tab.locator(".plan-block").nth(3).bounding_box()
    assert block
    assert last
    tab.mouse.move(block["x"] + 60, block["y"] + 20)
    tab.mouse.down()
    tab.mouse.move(last["x"] + last["width"] / 2, block["y"] + 20, steps=5)
    tab.mouse.up()
    assert [p.minutes for p in text(tab).phase][3] == minutes


def test_a_change_of_the_text_redraws_the_band_and_what_is_wrong_is_named(tab: Page, address: str) -> None:
    """Field by field; the start waits."""
    opened(tab, address, "short-look")
    box = tab.locator("#plan-text")
    box.fill('name = "two"\n[[phase]]\ndrive = "idle"\nminutes = 4\n[[phase]]\ndrive = "off"\nminutes = 1\n')
    expect(tab.locator(".plan-block")).to_have_count(2)
    expect(tab.locator("#plan-name")).to_have_value("two")
    box.fill('[[phase]]\ndrive = "loud"\nminutes = 1\n')
    expect(tab.locator(".form-said")).to_contain_text("phase[1].drive")
    expect(tab.get_by_role("button", name="Start this plan")).to_be_disabled()


def test_a_load_that_is_too_small_keeps_the_plan_from_starting(tab: Page, address: str) -> None:
    """25 W for 45 minutes, half of the time: 13 W are too few, 25 W are enough; the figures are kept by the browser."""
    opened(tab, address)
    start = tab.get_by_role("button", name="Start this plan")
    expect(tab.locator("#estimate-problems")).to_contain_text("say how many watts")
    expect(start).to_be_disabled()
    tab.get_by_label("Dummy load, continuously").fill("13")
    expect(tab.locator("#estimate-problems")).to_contain_text("more than the 13 W")
    tab.get_by_label("Dummy load, continuously").fill("25")
    expect(tab.locator("#estimate-problems")).to_contain_text("The load takes it")
    expect(start).to_be_enabled()
    tab.get_by_label("Bay").select_option("bay-1")
    tab.on("console", lambda _: None)
    with tab.expect_response("**/plan/start") as answer:
        start.click()
    assert answer.value.status == 409  # nothing is heard from this bay
    expect(tab.locator(".start-said")).to_contain_text("nothing is heard from bay-1")


def test_a_plan_is_saved_and_has_an_address_of_its_own(tab: Page, address: str, folder: Path) -> None:
    """Whose name is taken is asked for once more."""
    opened(tab, address)
    tab.get_by_label("Name of the plan").fill("Night soak")
    tab.get_by_role("button", name="Save this plan").click()
    expect(tab.locator(".plan-said")).to_contain_text("Saved")
    assert tab.url.endswith("/plans/night-soak")
    (saved,) = folder.rglob("plans/*.toml")
    assert Plan.from_file(saved).name == "Night soak"
    tab.reload()
    expect(tab.locator(".plan-shelf a[aria-current=page]")).to_contain_text("Night soak")
    tab.get_by_role("button", name="Save this plan").click()
    tab.get_by_role("button", name="Replace it").click()
    expect(tab.locator(".plan-said")).to_have_text(re.compile("Saved"))


def test_a_start_is_judged_again_where_it_arrives(address: str) -> None:
    """Whatever a page shows: a load without a rating starts nothing."""
    carrier = '[[phase]]\ndrive = "carrier"\nminutes = 1\n'
    asked = {"text": carrier, "bay": "bay-1", "typical": {"forward_w": 25}}
    answer = httpx.post(f"{address}/plan/start", json=asked)
    assert answer.status_code == 409
    assert "load rating" in answer.json()["failed"].lower()
    bad = httpx.post(f"{address}/plan/judge", json={"text": carrier, "typical": {"efficiency_percent": 140}})
    assert bad.status_code == 422
    assert "efficiency" in bad.json()["failed"]
