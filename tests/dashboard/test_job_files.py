"""A job's charts as pictures and its readings as files, in a real browser."""

import csv
import io
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Page, expect


def opened(tab: Page, address: str) -> None:
    """A job with its curves."""
    tab.goto(f"{address}/job/1")
    tab.wait_for_function("() => document.querySelector('.js-plotly-plot')?.data?.length > 5")


@pytest.mark.parametrize(("format", "begins"), [("PNG", b"\x89PNG"), ("SVG", b"<svg")])
def test_all_charts_or_one_are_kept_as_a_picture(
    tab: Page, address: str, tmp_path: Path, format: str, begins: bytes
) -> None:
    """On white paper; the file is called by the job and the chart."""
    opened(tab, address)
    which = tab.get_by_label("Which chart the picture shows")
    which.focus()
    which.select_option(label="power, W")
    with tab.expect_download() as one:
        tab.get_by_role("button", name=f"as {format}").click()
    assert one.value.suggested_filename == f"job 1 power, W.{format.lower()}"
    one.value.save_as(tmp_path / "one")
    picture = (tmp_path / "one").read_bytes()
    assert picture.startswith(begins)
    if format == "SVG":
        assert b"forward" in picture
        assert b"heatsink" not in picture


def test_a_soak_is_taken_away_as_a_table_of_all_its_readings(tab: Page, address: str, tmp_path: Path) -> None:
    """Every frame a row; the page says when it has come."""
    opened(tab, address)
    with tab.expect_download() as file:
        tab.locator(".downloads").get_by_text("CSV").click()
    assert file.value.suggested_filename == "job-1.csv"
    file.value.save_as(tmp_path / "job.csv")
    rows = list(csv.reader(io.StringIO((tmp_path / "job.csv").read_text())))
    assert len(rows) == 1 + 120
    assert any("heatsink" in name for name in rows[0])
    expect(tab.locator(".download-said")).to_contain_text("job-1.csv")


def test_every_form_is_handed_on_and_what_is_not_there_is_said(page: httpx.Client) -> None:
    """As the daemon gives it."""
    for form, begins in (("csv", b"time"), ("parquet", b"PAR1"), ("senml", b"[{")):
        answer = page.get("/job/1/export", params={"form": form}, timeout=30)
        assert answer.status_code == 200
        assert answer.content.startswith(begins)
        assert f'filename="job-1.{form}"' in answer.headers["content-disposition"]
    assert "no job 99" in page.get("/job/99/export").json()["failed"]
    assert page.get("/job/1/export", params={"form": "exe"}).status_code == 422


def test_a_press_is_not_lost_under_a_change_of_size(tab: Page, address: str) -> None:
    """Both presses count, also while the charts are laid out anew."""
    opened(tab, address)
    wide = "() => { const [a, b] = document.querySelector('.js-plotly-plot').layout.xaxis.range; return b - a; }"
    whole_min = tab.evaluate(wide)
    for _ in range(2):
        tab.set_viewport_size({"width": 1100 + int(whole_min), "height": 700})
        tab.get_by_role("button", name="Closer").click()
    tab.wait_for_function(f"(whole) => Math.abs(({wide})() - whole / 4) < 0.02", arg=whole_min)
