"""Soaks side by side, in a real browser."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from dashboard.side_by_side import jobs_of
from tests.dashboard.conftest import daemon_in, served
from tests.dashboard.soaked import five_soaks


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the dashboard of a daemon with five soaks is served."""
    with daemon_in(tmp_path_factory.mktemp("soaked"), five_soaks) as api, served(api) as port:
        yield f"http://127.0.0.1:{port}"


@pytest.mark.parametrize(
    ("search", "jobs"),
    [
        ("?jobs=1,2,3", [1, 2, 3]),
        ("?jobs=3,1,3", [3, 1]),
        ("?jobs=1&jobs=2", [1, 2]),
        ("?jobs=1", []),
        ("?jobs=1,2,3,4,5,6,7", []),
        ("?jobs=1,x", []),
        ("?jobs=1,-2", []),
        ("?jobs=1," + "9" * 13, []),
        ("", []),
    ],
)
def test_an_address_names_two_to_six_soaks(search: str, jobs: list[int]) -> None:
    """Anything else names none, and the page says how to choose."""
    assert jobs_of(search) == jobs


def test_soaks_are_aligned_at_key_on_with_the_band_behind_them(tab: Page, address: str) -> None:
    """Three good ones before job 5 make the band; the one that failed rises out of it."""
    tab.goto(f"{address}/compare?jobs=4,5")
    expect(tab.locator(".soak-card")).to_have_count(2)
    expect(tab.locator("#compare-beside")).to_contain_text("what 3 earlier good units did")
    expect(tab.locator("#compare-beside")).to_contain_text("fail")
    tab.wait_for_function("() => document.querySelector('.js-plotly-plot')?.data?.length > 5")
    drawn = tab.evaluate(
        "() => document.querySelector('#compare-curves .js-plotly-plot').data.filter((t) => t.yaxis === 'y2')"
        ".map((t) => [t.name, t.x, t.y])"
    )
    by_name = {name: dict(zip(x, y, strict=True)) for name, x, y in drawn}
    assert min(by_name["job 4"]) == -1.0  # a minute at rest before key-on
    last = max(by_name["90th percentile"])
    assert by_name["job 4"][max(by_name["job 4"])] > by_name["90th percentile"][last]


def test_without_soaks_the_page_says_how_to_choose_them(tab: Page, address: str) -> None:
    """And where."""
    tab.goto(f"{address}/compare")
    expect(tab.locator("#compare-said")).to_contain_text("tick two to six")


def test_a_soak_that_is_not_there_is_said(tab: Page, address: str) -> None:
    """With those that are."""
    tab.goto(f"{address}/compare?jobs=1,99")
    expect(tab.locator("#compare-said")).to_contain_text("no job 99")


def test_a_zoom_fetches_finer_curves_of_all(tab: Page, address: str) -> None:
    """The axis follows; before key-on too."""
    tab.goto(f"{address}/compare?jobs=1,2")
    expect(tab.locator(".soak-card")).to_have_count(2)
    tab.wait_for_function("() => document.querySelector('.js-plotly-plot')?.data?.length > 5")
    tab.get_by_role("button", name="Closer").click()
    range_min = "() => document.querySelector('#compare-curves .js-plotly-plot')?.layout?.xaxis?.range ?? [0, 0]"
    tab.wait_for_function(f"() => {{ const [a, b] = ({range_min})(); return Math.abs(b - a - 2.5) < 0.1 }}")
    tab.get_by_role("button", name="Whole soaks").click()
    tab.wait_for_function(f"() => {{ const [a, b] = ({range_min})(); return Math.abs(b - a - 5) < 0.1 }}")
