"""Booking in, lots and calibrations in a real browser, with a real daemon behind."""

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from plotly.utils import PlotlyJSONEncoder

from daemon.api.calibration_models import CalibrationKind, CalibrationOrder, Point
from daemon.api.client import Client
from daemon.api.lot_models import Band, LotView, Outside, UnitFigure
from dashboard.pages import lots
from tests.daemon.calibration_rig import RACK, Bench
from tests.dashboard.conftest import daemon_in, served


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A dashboard whose daemon nothing else books in at."""
    folder: Path = tmp_path_factory.mktemp("workshop")
    with daemon_in(folder) as api, served(api) as port:
        yield f"http://127.0.0.1:{port}"


def opened(tab: Page, address: str) -> None:
    """An empty sheet, looked at once."""
    tab.goto(f"{address}/book")
    expect(tab.locator(".judged-state")).to_contain_text("it needs: number, unit")


def test_a_sheet_is_questioned_while_it_is_typed(tab: Page, address: str) -> None:
    """10 W of FM beside a 14 W AM carrier: a sentence, its source, and both fields marked."""
    opened(tab, address)
    tab.get_by_label("AM carrier after").fill("14")
    tab.get_by_label("FM after").fill("10")
    expect(tab.locator(".questions li")).to_contain_text("From: ITU Radio Regulations")
    expect(tab.get_by_label("FM after")).to_have_class("asked")
    tab.get_by_label("FM after").fill("14")
    expect(tab.locator(".questions li")).to_have_count(0)


def test_what_is_no_number_is_named_at_its_field(tab: Page, address: str) -> None:
    """And the rest is still judged: the gain stands beside it."""
    opened(tab, address)
    tab.get_by_label("Device 1, bias in volts").fill("four")
    tab.get_by_label("SSB PEP before").fill("22")
    tab.get_by_label("SSB PEP after").fill("31")
    expect(tab.locator("[data-says='device[1].bias_v']")).not_to_be_empty()
    expect(tab.get_by_text("+1.5 dB")).to_be_visible()


def test_a_unit_that_is_booked_in_is_in_the_list_and_can_be_chosen_at_a_bay(tab: Page, address: str) -> None:
    """Its number and unit need not be written again."""
    opened(tab, address)
    tab.get_by_label("Job number").fill("2026-31")
    tab.get_by_label("Unit", exact=True).fill("MR-25 no. 031")
    tab.get_by_role("button", name="Book it in").click()
    expect(tab.locator(".sheet-end .start-said")).to_contain_text("Booked in as 1")
    tab.goto(f"{address}/book")
    expect(tab.locator(".dockets li")).to_contain_text("MR-25 no. 031")
    tab.goto(f"{address}/bay/bay-1")
    tab.get_by_label("Booked in").select_option("1")
    expect(tab.locator("#number")).to_be_disabled()


def test_a_calibration_shows_what_comes_of_it_and_asks_before_it_changes_much(tab: Page, address: str) -> None:
    """A bay without readings has nothing to calibrate, and says so."""
    tab.goto(f"{address}/calibrations")
    expect(tab.locator(".reads")).to_contain_text("Nothing is read on this bay yet")
    expect(tab.get_by_role("button", name="Put it in force")).to_be_disabled()
    expect(tab.locator("#calibration-list")).to_contain_text("No channel has been calibrated yet")


def test_a_detectors_table_is_typed_judged_and_put_in_force(tab: Page, tmp_path: Path) -> None:
    """The volts are there to be taken; watts are as good as dBm; the list then has the table, drawn.

    One that is past due says so beside every reading.
    """
    (tmp_path / "rack.toml").write_text(RACK.format(port=tmp_path / "port"))
    bench = Bench(tmp_path)
    try:
        with Client(bench.url) as client, served(bench.url) as port:
            bench.read(client, 0.4, "V")
            tab.goto(f"http://127.0.0.1:{port}/calibrations")
            tab.get_by_label("Channel").select_option("forward")
            expect(tab.get_by_label("What is drawn")).to_have_value("table")
            expect(tab.locator(".reads")).to_contain_text("Detector 0.4 V.")
            tab.get_by_role("button", name="Take the reading for point 2").click()
            expect(tab.get_by_label("Point 2: detector, V")).to_have_value("0.4")
            for n, (volts, power) in enumerate((("0.2", "1 W"), ("0.4", "4 W"), ("0,8", "42.04")), 1):
                tab.get_by_label(f"Point {n}: detector, V").fill(volts)
                tab.get_by_label(f"Point {n}: reference, dBm or W").fill(power)
            tab.get_by_label("Reference instrument").fill("power meter")
            tab.get_by_label("Its standard uncertainty").fill("0.08")
            expect(tab.locator(".judged")).to_contain_text("Over 0.8 V (16 W) there is no reading")
            expect(tab.locator(".table-rows")).to_contain_text("42.04")
            tab.get_by_role("button", name="Put it in force").click()
            expect(tab.locator("#calibration-list")).to_contain_text("A table of 3 points, 30.0 to 42.0 dBm")
            assert bench.read(client, 0.4, "V").value == pytest.approx(4.0, abs=1e-3)
            kept = client.calibrations()[0]
            points = [Point(reading=p.volts, reference=p.dbm) for p in kept.table]
            late = CalibrationOrder(
                bay="bay-1",
                channel="forward",
                kind=CalibrationKind.TABLE,
                points=points,
                reference="power meter",
                u_reference=0.08,
                due=date(2025, 6, 30),
            )
            client.calibrate(late)
            bench.read(client, 0.4, "V")
            tab.goto(f"http://127.0.0.1:{port}/")
            expect(tab.get_by_text("forward, past due")).to_be_visible()
            tab.goto(f"http://127.0.0.1:{port}/links")
            expect(tab.get_by_text("▲ calibration past due")).to_be_visible()
    finally:
        bench.close()


def test_a_page_without_lots_says_what_to_do_next() -> None:
    """And leads there."""
    text = json.dumps(lots.page([]), cls=PlotlyJSONEncoder)
    assert "Book units in" in text
    assert "/book" in text


def test_who_stands_outside_is_a_pin_on_the_strip_and_a_sentence() -> None:
    """Both lead to its job; a good unit is a mark in the band."""
    units = [UnitFigure(job=n, unit=f"no. {n}", value=v, passed=True) for n, v in ((1, 1.51), (9, 1.95))]
    band = Band(figure="heatsink_k_per_w", unit="K/W", low=1.4, middle=1.5, high=1.6, sd=0.02, units=units)
    odd = Outside(
        job=9, unit="MR-25 no. 9", figure=band.figure, value=1.95, middle=1.5, sd_out=22, text="suspect a dry pad"
    )
    view = LotView(kind="MR-25", device_type="type A", lot="7", units=8, passed=7, bands=[band], outside=[odd])
    text = json.dumps(lots.page([view]), cls=PlotlyJSONEncoder)
    assert text.count("/job/9") == 2
    assert text.count('"lot-unit"') == 2  # in the legend, and the other unit; the odd one has its pin
    assert "Suspect a dry pad" in text
