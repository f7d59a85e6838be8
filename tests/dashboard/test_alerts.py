"""Alerts on the page, in a real browser, with a real daemon whose rules speak at a test's word."""

import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect

from daemon.api.alert_models import NoteOrder
from daemon.api.client import Client
from dashboard.files import assets
from tests.dashboard.alarm_rig import Rig, rig_in
from tests.dashboard.conftest import served

#: the page's own horn, not a second one
HORN = assets().path("horn.js")
SHORT = "device 2 draws 5.61 A, over the limit of 5.00 A: look for a short to the heatsink"


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[Rig]:
    """A daemon on which nothing was raised yet."""
    with rig_in(tmp_path) as made:
        yield made


@pytest.fixture
def daemon(rig: Rig) -> Iterator[Client]:
    """The daemon, asked without the page."""
    with Client(rig.api) as client:
        yield client


@pytest.fixture
def address(rig: Rig) -> Iterator[str]:
    """Where its dashboard is served."""
    with served(rig.api) as port:
        yield f"http://127.0.0.1:{port}"


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """A browser without any memory."""
    made = browser.new_context(viewport={"width": 1280, "height": 900})
    yield made
    made.close()


@pytest.fixture
def tab(context: BrowserContext) -> Iterator[Page]:
    """A tab whose scripts had no fault."""
    tab = context.new_page()
    faults: list[str] = []
    tab.on("pageerror", lambda err: faults.append(str(err)))
    yield tab
    tab.close()
    assert faults == []


def trip(rig: Rig) -> None:
    """A shorted device on bay-1, with two effects."""
    rig.say("over-current", SHORT, priority="trip", value=5.61, limit=5.0, unit="A")
    rig.say("current-imbalance", "spread over mean is 41 %", priority="trip", value=0.41, limit=0.25)
    rig.say("over-temperature", "heatsink is 71.2 °C, over 70.0 °C", value=71.2, limit=70.0, unit="Cel")


def horn(tab: Page) -> dict[str, float | str | bool | None]:
    """What the sound does."""
    said: dict[str, float | str | bool | None] = tab.evaluate(f"async () => (await import('{HORN}')).state()")
    return said


def reach(tab: Page, wanted: Locator) -> None:
    """Go on by the Tab key until this has the focus; fails where no way leads there."""
    expect(wanted).to_be_visible(timeout=10_000)
    for _ in range(60):
        tab.keyboard.press("Tab")
        if wanted.evaluate("e => e === document.activeElement"):
            return
    raise AssertionError(f"the Tab key does not lead to {wanted}")


def test_a_quiet_day_is_empty_and_says_so(tab: Page, address: str) -> None:
    """Nothing on the rail, nothing in the head."""
    tab.goto(f"{address}/alerts")
    expect(tab.locator("#alert-list")).to_contain_text("A quiet day.")
    expect(tab.locator(".alert")).to_have_count(0)
    expect(tab.locator("#alert-count")).to_be_empty()
    expect(tab.locator("#alert-rate")).to_contain_text("very likely acceptable")


def test_one_cause_is_one_card_with_its_sentence_first_and_its_effects_folded(
    tab: Page, rig: Rig, address: str
) -> None:
    """Three rules spoke; a person gets one card, and the head of every page counts one."""
    trip(rig)
    tab.goto(f"{address}/alerts")
    card = tab.locator(".alert")
    expect(card).to_have_count(1)
    expect(card.locator("h2")).to_have_text(SHORT[0].upper() + SHORT[1:])
    expect(card.locator(".tag-priority")).to_have_text("trip")
    expect(card).to_contain_text("5.61 of 5.00 A")
    card.get_by_text("2 folded under it").click()
    expect(card.locator(".tag-folded li")).to_have_count(2)
    tab.goto(f"{address}/limits")
    expect(tab.locator("#alert-count")).to_have_text("1")
    expect(tab).to_have_title(re.compile(r"^\(1\) Limits"))


def test_the_worst_stands_first_and_a_new_alert_comes_by_itself(tab: Page, rig: Rig, address: str) -> None:
    """Within seconds, without a reload."""
    rig.say("supply", "supply is 12.31 V", bay="bay-2", value=12.31, limit=12.5, unit="V")
    tab.goto(f"{address}/alerts")
    expect(tab.locator(".alert")).to_have_count(1)
    trip(rig)
    expect(tab.locator(".alert")).to_have_count(2, timeout=10_000)
    expect(tab.locator(".alert .tag-bay")).to_have_text(["bay-1", "bay-2"])


def test_an_alert_is_dealt_with_from_the_keyboard_alone(tab: Page, rig: Rig, daemon: Client, address: str) -> None:
    """Acknowledged, come back to normal, reset with a note; the name is asked for, kept, and stands in the history."""
    trip(rig)
    tab.goto(f"{address}/alerts")
    acknowledge = tab.get_by_role("button", name="Acknowledge: bay-1, over-current")
    expect(acknowledge).to_be_visible()
    reach(tab, acknowledge)
    tab.keyboard.press("Enter")
    expect(tab.get_by_label("Your name")).to_be_focused()
    tab.keyboard.type("Ada")
    acknowledge.focus()
    tab.keyboard.press("Enter")
    expect(tab.locator(".tag-state").first).to_have_text("acknowledged")
    for rule, priority in (("over-current", "trip"), ("current-imbalance", "trip"), ("over-temperature", "warning")):
        rig.say(rule, f"{rule} is over", event="returned", priority=priority)
    reset = tab.get_by_role("button", name="Reset: bay-1, over-current")
    expect(reset).to_be_visible(timeout=10_000)
    reset.focus()
    tab.keyboard.press("Enter")
    expect(tab.get_by_label("What was mended?")).to_be_focused()
    tab.keyboard.type("new pad under device 2")
    tab.keyboard.press("Enter")
    expect(tab.locator("#alert-list .alert")).to_have_count(0)
    assert tab.evaluate("document.activeElement.id") == "alert-list"
    rig.flush()
    past = next(a for a in daemon.alerts(closed=5) if a.rule == "over-current").history
    assert [(c.change, c.person) for c in past if c.person] == [("acknowledged", "Ada"), ("reset", "Ada")]
    assert past[-1].note == "new pad under device 2"


def test_a_shelf_has_an_end_and_a_reason(tab: Page, rig: Rig, daemon: Client, address: str) -> None:
    """Escape leaves it as it was; without a reason nothing is sent; then it is put away, with its end."""
    rig.say("supply", "supply is 12.31 V", bay="bay-2", value=12.31, limit=12.5, unit="V")
    tab.goto(f"{address}/alerts")
    tab.get_by_label("Your name").fill("Ada")
    shelve = tab.get_by_role("button", name="Shelve: bay-2, supply")
    shelve.click()
    tab.keyboard.press("Escape")
    expect(shelve).to_be_focused()
    shelve.click()
    tab.get_by_label("For", exact=True).select_option("30")
    tab.get_by_role("button", name="Shelve it").click()
    assert daemon.alerts()[0].state == "unacknowledged"
    tab.get_by_label("Why?").fill("meter at calibration")
    tab.keyboard.press("Enter")
    expect(tab.locator(".put-away .tag-state")).to_contain_text("shelved until")
    expect(tab.locator("#alert-list")).to_contain_text("A quiet day.")
    found = daemon.alerts()[0]
    assert found.shelved_until_ns is not None
    assert (found.shelved_until_ns - found.history[-1].time_ns) / 60e9 == pytest.approx(30, abs=0.1)
    tab.get_by_role("button", name="Take off the shelf: bay-2, supply").click()
    expect(tab.locator("#alert-list .alert")).to_have_count(1)


def test_an_alert_goes_out_of_service_and_back_and_the_horn_is_muted_without_a_mouse(
    tab: Page, rig: Rig, daemon: Client, address: str
) -> None:
    """Tab and Enter lead to each; it is off the list and the horn is silent until somebody puts it back."""
    rig.say("supply", "supply is 12.31 V", bay="bay-2", value=12.31, limit=12.5, unit="V")
    tab.goto(f"{address}/alerts")
    reach(tab, tab.get_by_label("Your name"))
    tab.keyboard.type("Ada")
    reach(tab, tab.get_by_role("button", name="Out of service: bay-2, supply"))
    tab.keyboard.press("Enter")
    expect(tab.get_by_label("Why?")).to_be_focused()
    tab.keyboard.press("Enter")  # no reason, no order
    assert daemon.alerts()[0].state == "unacknowledged"
    tab.keyboard.type("meter sent away")
    tab.keyboard.press("Enter")
    expect(tab.locator(".put-away .tag-state")).to_have_text("out of service")
    expect(tab.locator("#alert-list")).to_contain_text("A quiet day.")
    expect(tab.locator("#alert-count")).to_be_empty()
    said = daemon.alerts()[0].history[-1]
    assert (said.change, said.person, said.note) == ("out-of-service", "Ada", "meter sent away")
    reach(tab, tab.get_by_role("button", name="Put back in service: bay-2, supply"))
    tab.keyboard.press("Enter")
    expect(tab.locator("#alert-list .alert")).to_have_count(1)
    reach(tab, tab.get_by_role("button", name="Mute 5 min").last)
    tab.keyboard.press("Enter")
    expect(tab.locator("#horn")).to_have_text("Muted 5 min")
    reach(tab, tab.get_by_role("button", name="Sound again"))
    tab.keyboard.press("Enter")
    expect(tab.locator("#horn")).not_to_contain_text("Muted")
    reach(tab, tab.get_by_role("button", name="Test workshop"))
    tab.keyboard.press("Enter")
    expect(tab.locator("#tells")).to_contain_text("Sent in")


def test_what_a_daemon_refuses_is_told_on_the_card(tab: Page, rig: Rig, daemon: Client, address: str) -> None:
    """A trip that stands is not reset; another tab was quicker."""
    rig.say("supply", "supply is 12.31 V", bay="bay-2", value=12.31, limit=12.5, unit="V")
    tab.goto(f"{address}/alerts")
    tab.get_by_label("Your name").fill("Ada")
    button = tab.get_by_role("button", name="Acknowledge: bay-2, supply")
    expect(button).to_be_visible()
    tab.route("**/live/alerts", lambda route: route.abort())
    daemon.acknowledge(1, NoteOrder(person="Ines"))
    button.click()
    expect(tab.locator(".tag-said")).to_contain_text("Not done.")
    expect(tab.locator("#alerts-said")).to_contain_text("may be old")


def test_the_sound_waits_for_a_press_and_sounds_until_acknowledged(
    tab: Page, rig: Rig, daemon: Client, address: str
) -> None:
    """A browser demands the press, and the page says so in its head."""
    trip(rig)
    tab.goto(f"{address}/limits")
    expect(tab.locator("#horn")).to_have_text("Allow sound")
    tab.wait_for_function(f"async () => (await import('{HORN}')).state().calling === 'trip'")
    assert horn(tab)["armed"] is False
    assert horn(tab)["played"] == 0
    tab.keyboard.press("Shift")
    tab.wait_for_function(f"async () => (await import('{HORN}')).state().played > 0")
    expect(tab.locator("#horn")).to_have_text("Mute 5 min")
    daemon.acknowledge(1, NoteOrder(person="Ines"))
    tab.wait_for_function(f"async () => (await import('{HORN}')).state().calling === null", timeout=10_000)
    expect(tab.locator("#horn")).to_be_hidden()


def test_a_mute_ends_and_a_new_trip_ends_it_at_once(tab: Page, rig: Rig, address: str) -> None:
    """Neither a hand in the browser's store nor a clock that was set back mutes for good."""
    rig.say("supply", "supply is 12.31 V", bay="bay-2", value=12.31, limit=12.5, unit="V")
    tab.goto(f"{address}/alerts")
    tab.get_by_role("button", name="Mute 15 min").click()
    expect(tab.locator("#horn")).to_have_text("Muted 15 min")
    expect(tab.locator("#sound")).to_contain_text("sounds by itself again")
    tab.reload()
    expect(tab.locator("#horn")).to_have_text("Muted 15 min")
    trip(rig)
    tab.wait_for_function(f"async () => (await import('{HORN}')).state().mutedMs === 0", timeout=10_000)
    for store in ('{"since":0,"until":9e15}', '{"since":0,"until":null}', "x", "{}"):
        tab.evaluate("(text) => localStorage.setItem('muted', text)", store)
        assert horn(tab)["mutedMs"] == 0


def test_a_notification_is_asked_for_by_a_button_and_shows_each_alert_once(
    context: BrowserContext, rig: Rig, address: str
) -> None:
    """The browser's own; two tabs show one."""
    context.grant_permissions(["notifications"], origin=address)
    shown: list[str] = []
    context.expose_function("noted", lambda text: shown.append(text))  # noqa: PLW0108  a builtin is refused
    context.add_init_script(
        "const Real = Notification; window.Notification = class extends Real {"
        "constructor(title, more) { super(title, more); window.noted(`${title} | ${more.body}`); } };"
    )
    one, two = context.new_page(), context.new_page()
    one.goto(f"{address}/alerts")
    two.goto(f"{address}/limits")
    expect(one.locator("#sound")).to_contain_text("notification for each new alert")
    trip(rig)
    expect(one.locator(".alert")).to_have_count(1, timeout=10_000)
    expect(two.locator("#alert-count")).to_have_text("1", timeout=10_000)
    assert shown == [f"bay-1: trip | {SHORT[0].upper()}{SHORT[1:]}"]


def test_who_is_told_is_shown_and_can_be_tested(tab: Page, rig: Rig, address: str) -> None:
    """A message arrives at the one that is there; of its address nothing but the scheme is on the page."""
    tab.goto(f"{address}/alerts")
    tab.get_by_role("button", name="Test workshop").click()
    expect(tab.locator("#tells")).to_contain_text("Sent in")
    assert len(rig.sent) == 1
    expect(tab.locator("#tells")).to_contain_text("when workshop was told and nobody acknowledged in 10 min")
    assert "127.0.0.1" not in tab.locator("#tells").inner_text()


def test_orders_about_alerts_are_taken_from_our_own_page_alone(rig: Rig, daemon: Client, address: str) -> None:
    """Another site's page is refused, an order that is wrong names its field, an unknown one is no page."""
    rig.say("supply", "supply is 12.31 V", value=12.31, limit=12.5, unit="V")
    with httpx.Client(base_url=address, trust_env=False) as client:
        order = {"person": "Ada"}
        alien = client.post("/alerts/1/acknowledge", json=order, headers={"origin": "http://elsewhere.example"})
        assert alien.status_code == 403
        assert client.post("/tells/test", json={}, headers={"origin": "http://elsewhere.example"}).status_code == 403
        assert daemon.alerts()[0].state == "unacknowledged"
        wrong = client.post("/alerts/1/shelve", json={"person": " ", "minutes": 1e9, "reason": "x"})
        assert wrong.status_code == 422
        assert "person" in wrong.json()["failed"]
        assert "minutes" in wrong.json()["failed"]
        assert client.post("/alerts/1/delete", json=order).status_code == 404
        assert client.post("/alerts/99/acknowledge", json=order).status_code == 404
        assert client.post("/alerts/1/acknowledge", content=b"x" * 70_000).status_code == 413
        assert client.post("/alerts/1/acknowledge", json=order).json()["done"] == "alert 1 is acknowledged"


def test_an_alert_of_the_daemon_itself_names_the_whole_rack_and_leads_to_it(
    tab: Page, rig: Rig, daemon: Client, address: str
) -> None:
    """It belongs to no bay, and is dealt with as any other."""
    rig.say("not-kept", "Readings can't be written to disk: disk is full. 12 wait in memory.", bay="")
    tab.goto(f"{address}/alerts")
    tab.get_by_label("Your name").fill("Ada")
    tab.get_by_role("button", name="Acknowledge: whole rack, not-kept").click()
    expect(tab.locator(".tag-state").first).to_have_text("acknowledged")
    assert daemon.alerts()[0].history[-1].person == "Ada"
    tab.locator(".alert").get_by_role("link", name="whole rack").click()
    expect(tab.locator("h1")).to_contain_text("Rack", ignore_case=True)
