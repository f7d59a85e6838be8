"""WCAG 2.2 AA, as far as axe-core can tell, on every page, light and dark, with alerts and without."""

import importlib.util
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from daemon.store import Store
from daemon.store.items import JobEnded, JobStarted
from sensors.types import CHANNELS, NAN, Frame, Quality
from tests.dashboard.alarm_rig import rig_in
from tests.dashboard.conftest import START_NS, daemon_in, served
from tests.dashboard.soaked import HOUR_NS, PLAN, five_soaks
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


def a_lot(store: Store) -> None:
    """Five soaks with curves, and seven more of one lot with a figure each, of which the last stands outside."""
    five_soaks(store)
    for job, k_per_w in enumerate((1.50, 1.52, 1.48, 1.51, 1.49, 1.50, 2.4), 6):
        begun_ns = START_NS + job * HOUR_NS
        plan = PLAN.replace("evening", "night")
        store.put(JobStarted(job, f"J-{job}", f"MR-25 no. {job}", "bay-2", "night", plan, {}, begun_ns, 1e6 * job))
        store.put(JobEnded(job, begun_ns + HOUR_NS, "pass", ["none"], {"heatsink_k_per_w": k_per_w}))


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A dashboard of a workshop that has soaked before."""
    with daemon_in(tmp_path_factory.mktemp("kept"), a_lot) as api, served(api) as port:
        yield f"http://127.0.0.1:{port}"


@pytest.fixture(scope="module")
def reader(browser: Browser) -> Iterator[BrowserContext]:
    """A browser into which axe-core may be put."""
    context = browser.new_context(bypass_csp=True, viewport={"width": 1280, "height": 900})
    yield context
    context.close()


def violations(
    reader: BrowserContext, axe: str, url: str, path: str, act: Callable[[Page], None] = lambda tab: None
) -> dict[str, list[str]]:
    """What axe-core finds on a page that stands as it is read, light and dark; ``act`` does something there first.

    With all that, it must not scroll sideways on a tablet or a phone either.
    """
    tab = reader.new_page()
    tab.goto(url + path)
    settled(tab, path)
    expect(tab.locator("#degrees button")).to_have_count(2)
    if path == "/alerts":
        expect(tab.locator("#tells h2")).to_be_visible()
    if "#bay-release" in path:
        expect(tab.locator(".release-form")).to_be_visible()
    for fold in tab.locator("main summary").all():
        if fold.is_visible() and not fold.evaluate("e => e.parentElement.open"):
            fold.click()
    act(tab)
    tab.evaluate("() => scrollTo(0, 0)")  # what is half under the head of the page is no smaller for that
    tab.evaluate(axe)
    found: dict[str, list[str]] = {}
    for scheme in SCHEMES:
        # without motion, so that no colour is met on its way to another
        tab.emulate_media(color_scheme=scheme, reduced_motion="reduce")
        assert tab.evaluate("(scheme) => matchMedia(`(prefers-color-scheme: ${scheme})`).matches", scheme)
        found[scheme] = tab.evaluate(RUN)
    for wide in (768, 390):
        tab.set_viewport_size({"width": wide, "height": 844})
        tab.wait_for_function("(wide) => innerWidth === wide && document.documentElement.scrollWidth <= wide", arg=wide)
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


def drawn(tab: Page) -> None:
    """Wait for curves."""
    tab.wait_for_function("() => document.querySelector('.js-plotly-plot')?.data?.length > 5")


def outside(tab: Page) -> None:
    """Wait for the unit that stands outside its lot."""
    expect(tab.locator(".lot-strip .pin")).to_have_count(1)


def ticked(tab: Page) -> None:
    """A list with boxes under its heads, one row of it ticked."""
    tab.get_by_role("button", name="Filter by column").click()
    expect(tab.get_by_label("Unit Filter Input")).to_be_visible()
    tab.locator(".ag-pinned-left-cols-container .ag-row input").first.check()


@pytest.mark.parametrize(
    ("path", "act"), [("/compare?jobs=4,5", drawn), ("/job/4", drawn), ("/lots", outside), ("/jobs", ticked)]
)
def test_pages_with_something_on_them_have_none(
    reader: BrowserContext, axe: str, kept: str, path: str, act: Callable[[Page], None]
) -> None:
    """Curves side by side with their band, a soak that failed, a lot with its strips, a list of many."""
    assert violations(reader, axe, kept, path, act) == NONE


def wrong_plan(tab: Page) -> None:
    """A plan that is none, sent all the same."""
    box = tab.get_by_label("Text of the plan")
    expect(box).not_to_be_empty()
    box.fill('[[phase]]\ndrive = "loud"\nminutes = 1\n')
    expect(tab.locator("#estimate-problems")).to_contain_text("phase[1].drive")
    tab.get_by_role("button", name="Start the soak").click()
    expect(tab.locator(".form-said")).to_contain_text("phase[1].drive")


def wrong_sheet(tab: Page) -> None:
    """A word where a number belongs, and a figure that is doubted."""
    tab.get_by_label("Device 1, bias in volts").fill("four")
    tab.get_by_label("AM carrier after").fill("14")
    tab.get_by_label("FM after").fill("10")
    expect(tab.locator("[data-says='device[1].bias_v']")).not_to_be_empty()
    expect(tab.locator(".questions li").first).to_be_visible()


def heavy_plan(tab: Page) -> None:
    """A load that is too small for the plan."""
    tab.get_by_label("Dummy load, continuously").fill("20")
    expect(tab.locator("#estimate-problems")).to_contain_text("more than the 20 W")


@pytest.mark.parametrize(("path", "act"), [("/bay/bay-1", wrong_plan), ("/book", wrong_sheet), ("/plans", heavy_plan)])
def test_a_form_with_an_error_in_it_has_none(
    reader: BrowserContext, axe: str, address: str, path: str, act: Callable[[Page], None]
) -> None:
    """The error is told to everybody."""
    assert violations(reader, axe, address, path, act) == NONE
