"""WCAG 2.2 AA, as far as axe-core can tell, on every page, light and dark, with alerts and without."""

import importlib.util
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from sensors.types import CHANNELS, NAN, Frame, Quality
from tests.dashboard.alarm_rig import rig_in
from tests.dashboard.conftest import served
from tests.dashboard.test_browser import PATHS, SCHEMES, settled

#: axe-playwright-python is only the carrier of axe.min.js; found without importing it
_CARRIER = importlib.util.find_spec("axe_playwright_python")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RUN = f"""async () => (await axe.run(document, {{ runOnly: {TAGS} }})).violations
  .flatMap((v) => v.nodes.map((n) => `${{v.id}}: ${{n.target.join(" ")}}: ${{n.html.slice(0, 120)}}`))"""


@pytest.fixture(scope="module")
def axe() -> str:
    """The text of axe-core."""
    assert _CARRIER is not None
    assert _CARRIER.origin is not None
    return (Path(_CARRIER.origin).parent / "axe.min.js").read_text()


@pytest.fixture(scope="module")
def alarmed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A dashboard with a trip, a warning with something folded, and one that is over."""
    with rig_in(tmp_path_factory.mktemp("alarmed")) as rig:
        rig.say("over-current", "device 2 draws 5.61 A", priority="trip", value=5.61, limit=5.0, unit="A")
        rig.say("over-temperature", "heatsink is 71.2 °C", value=71.2, limit=70.0, unit="Cel")
        rig.say("supply", "supply is 12.31 V", bay="bay-2", value=12.31, limit=12.5, unit="V")
        with served(rig.api) as port:
            yield f"http://127.0.0.1:{port}"


@pytest.fixture(scope="module")
def cut_off(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A dashboard of a rack whose first node says that it has cut its radio's supply."""
    with rig_in(tmp_path_factory.mktemp("cut")) as rig:
        given = {"heatsink": 31.0, "drain-1": 0.0, "supply": 0.1, "forward": 0.0, "key": 0.0, "cut": 1.0}
        values = tuple(given.get(name, NAN) for name in CHANNELS)
        quality = bytes(Quality.GOOD if name in given else Quality.MISSING for name in CHANNELS)
        rig.take(Frame("bay-1", time.time_ns(), time.monotonic(), 1, values, quality))
        with served(rig.api) as port:
            yield f"http://127.0.0.1:{port}"


@pytest.fixture(scope="module")
def reader(browser: Browser) -> Iterator[BrowserContext]:
    """A browser into which axe-core may be put."""
    context = browser.new_context(bypass_csp=True, viewport={"width": 1280, "height": 900})
    yield context
    context.close()


def violations(reader: BrowserContext, axe: str, url: str, path: str) -> dict[str, list[str]]:
    """What axe-core finds on a page that stands as it is read, light and dark."""
    tab = reader.new_page()
    tab.goto(url + path)
    settled(tab, path)
    expect(tab.locator("#degrees button")).to_have_count(2)
    if path == "/alerts":
        expect(tab.locator("#tells h2")).to_be_visible()
    if "#bay-release" in path:
        expect(tab.locator(".release-form")).to_be_visible()
    for fold in tab.locator("main summary").all():
        if fold.is_visible():
            fold.click()
    tab.evaluate(axe)
    found: dict[str, list[str]] = {}
    for scheme in SCHEMES:
        # without motion, so that no colour is met on its way to another
        tab.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        assert tab.evaluate("(scheme) => matchMedia(`(prefers-color-scheme: ${scheme})`).matches", scheme)
        found[scheme] = tab.evaluate(RUN)
    tab.close()
    return found


NONE: dict[str, list[str]] = {"light": [], "dark": []}


@pytest.mark.parametrize("path", [*PATHS, "/job/99", "/bay/nowhere"])
def test_no_page_has_a_violation(reader: BrowserContext, axe: str, address: str, path: str) -> None:
    """Opened as anybody opens it, and with all that folds away unfolded."""
    assert violations(reader, axe, address, path) == NONE


def test_alerts_that_hang_have_none_either(reader: BrowserContext, axe: str, alarmed: str) -> None:
    """Cards, badges, folded effects, history, and the forms."""
    assert violations(reader, axe, alarmed, "/alerts") == NONE


@pytest.mark.parametrize("path", ["/", "/bay/bay-1#bay-release"])
def test_a_supply_that_is_cut_has_none(reader: BrowserContext, axe: str, cut_off: str, path: str) -> None:
    """The shelf that leads to the release, and the form itself."""
    assert violations(reader, axe, cut_off, path) == NONE
