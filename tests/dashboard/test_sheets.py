"""Limits, sensors and links, versions: what they say and where they get it."""

import re

import httpx
from playwright.sync_api import Page, Route, expect

from daemon.api.client import Client
from daemon.api.models import LimitView
from dashboard.pages import limits
from dashboard.versions import versions_of
from tests.dashboard.test_pages import opened, text

LIMITS = [
    LimitView(
        limit="off_delay_s",
        value=5.0,
        unit="s",
        meaning="time back",
        rules=["current-imbalance", "sensor-fault", "supply"],
    ),
    LimitView(
        limit="imbalance_ratio",
        value=0.25,
        unit="/",
        meaning="spread over mean",
        rules=["current-imbalance"],
        bays={"bay-2": 0.3},
    ),
    LimitView(limit="sensor_min_c", value=-20.0, unit="Cel", meaning="lowest", rules=["sensor-fault", "supply"]),
]


def test_each_limit_has_its_value_unit_meaning_and_rules() -> None:
    """And the bay whose plan has another."""
    made = text(limits.page(LIMITS))
    for said in ("5\u00a0s", "25\u00a0%", "bay-2: 30\u00a0%", "−20\u00a0°C", "Spread over mean.", "every rule"):
        assert f'"{said}"' in made
    assert made.index("off_delay_s") < made.index("imbalance_ratio")


def test_the_page_of_limits_has_every_limit_of_the_daemon(page: httpx.Client, api: str) -> None:
    """From the API: the page knows none of itself."""
    made = opened(page, "/limits")
    with Client(api) as client:
        known = client.limits()
    assert len(known) > 40
    assert all(f'"{limit.limit}"' in made for limit in known)


def test_versions_are_told_also_without_a_daemon(api: str, alone: httpx.Client) -> None:
    """Cautions above all."""
    with Client(api) as client:
        found = versions_of(client)
    assert found["Keysoak, the daemon"] == f"{found['Keysoak, this page']}, on rack-1"
    made = opened(alone, "/about")
    assert "RF burns" in made
    assert "not known: " in made


def test_a_link_that_was_never_heard_says_what_to_do_next(tab: Page, address: str) -> None:
    """With all its counts, and the link's last error."""
    tab.goto(f"{address}/links")
    sheet = tab.get_by_role("region", name="bay-1")
    expect(sheet).to_contain_text("never heard")
    expect(sheet).to_contain_text("keysoak probe")
    expect(sheet).to_contain_text("left, not open")
    for fact in ("rate", "packs", "lost", "restarts", "refused", "CRC failures"):
        expect(sheet.get_by_text(fact, exact=True)).to_be_visible()
    expect(sheet.locator(".link-error")).to_contain_text("Last error:")


def test_readings_have_their_quality(tab: Page, address: str) -> None:
    """One that is not good is a dash with its word; a rate is what came, not what was asked for."""
    bay = {"bay": "bay-1", "age_s": 0.2, "stale": False, "link": None}
    link = {"link": "left", "connected": True, "presence": "online", "lost": 2, "restarts": 0, "repeats": 0}
    link |= {"unknown": 0, "refused": 0, "crc_failures": 3, "packs_refused": 0, "last_error": "a line without CRC"}
    readings = [
        {"channel": "heatsink", "unit": "Cel", "value": 41.312, "quality": "good"},
        {"channel": "case-1", "unit": "Cel", "value": None, "quality": "open"},
        {"channel": "key", "unit": "boolean", "value": 1, "quality": "good"},
    ]
    packs = iter(range(98, 1000, 2))

    def answer(route: Route) -> None:
        route.fulfill(json=[bay | {"readings": readings, "link": link | {"packs": next(packs)}}])

    tab.route("**/live/links", answer)
    tab.goto(f"{address}/links")
    sheet = tab.get_by_role("region", name="bay-1")
    expect(sheet).to_contain_text("41.31 °C")
    expect(sheet).to_contain_text("▲ open")
    expect(sheet.locator(".counted")).to_have_count(2)
    expect(sheet).to_contain_text("2 (2.0 %)")
    # two packs are added an answer, and an answer is asked for about once a second
    expect(sheet.locator(".link-facts dd").first).to_have_text(re.compile(r"^[12]\.\d /s$"))
