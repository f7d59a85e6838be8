"""From booking in to the certificate, by the page: what goes back with a unit, and how it is found to be true."""

from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Page, expect
from typer.testing import CliRunner

from daemon.cli.main import app
from tests.chromium import chromium
from tests.journeys.children import Twins
from tests.journeys.rig import Rig, plan

pytestmark = pytest.mark.journey

BAY = "bay-1"
PHASES = plan(("idle", 3.0), ("carrier", 11.5))
SHEET = {
    "number": "2026-31", "unit": "MR-25 no. 031", "kind": "MR-25", "fitted.type": "type A", "fitted.lot": "7",
    "device[1].bias_v": "4.20", "device[1].idle_a": "0.25", "device[2].bias_v": "4.22", "device[2].idle_a": "0.25",
    "before.am_carrier_w": "10", "before.fm_w": "10", "before.ssb_pep_w": "22", "before.meter": "wattmeter 1",
    "after.am_carrier_w": "12", "after.fm_w": "12", "after.ssb_pep_w": "31", "after.meter": "wattmeter 1",
}  # fmt: skip


def book_in(tab: Page, page: str) -> None:
    """A whole sheet, without a question."""
    tab.goto(f"{page}/book")
    expect(tab.locator(".judged-state")).to_contain_text("it needs")
    for name, typed in SHEET.items():
        tab.locator(f'[name="{name}"]').fill(typed)
    expect(tab.get_by_text("+1.5 dB")).to_be_visible()
    expect(tab.locator(".judged-state")).to_have_text("✓ No question so far.")
    tab.get_by_role("button", name="Book it in").click()
    expect(tab.locator(".sheet-end .start-said")).to_contain_text("Booked in as 1")


def soak(tab: Page, page: str) -> None:
    """Start the booking's soak from the bay's page."""
    tab.goto(f"{page}/bay/{BAY}")
    tab.locator("#booking option[value='1']").wait_for(state="attached")
    tab.locator("#booking").select_option("1")
    tab.locator("#plan").fill(PHASES)
    with tab.expect_response("**/soak") as said:
        tab.get_by_role("button", name="Start the soak").click()
    assert said.value.ok, said.value.text()


def verified(rig: Rig, file: Path) -> int:
    """The exit status of ``keysoak verify``."""
    return CliRunner().invoke(app, ["verify", str(file), "--rack", str(rig.folder / "rack.toml")]).exit_code


def test_a_unit_trips_is_mended_passes_and_goes_back_with_proof(rig: Rig) -> None:
    """Booked in once, soaked twice; the certificate is true, and is not when one byte of it is flipped."""
    rig.more = '[workshop]\nname = "the workshop"\n'
    rig.start_daemon()
    page = rig.start_page().url
    with chromium() as browser:
        tab = browser.new_page()
        book_in(tab, page)

        rig.twins.do("fault", BAY, fault={"kind": "open-device", "device": 2})
        soak(tab, page)
        assert rig.ended(BAY).verdict == "fail"
        assert rig.bay(BAY).status == "tripped"

        rig.twins.end()  # the unit is mended
        rig.twins = Twins(rig.folder, (rig.folder / "twins.toml").read_text(encoding="utf-8"))
        rig.stack.callback(rig.twins.end)
        rig.twins.event("ready", BAY)
        before = rig.link(BAY).packs
        rig.packs(BAY, more_than=before + 2)
        soak(tab, page)
        early = httpx.get(f"{page}/job/{rig.bay(BAY).job}/certificate.pdf", trust_env=False, timeout=60.0)
        assert early.status_code == 409
        assert "still runs" in early.text
        assert rig.ended(BAY).verdict == "pass", rig.bay(BAY).reasons
        assert len(rig.client.booking(1).jobs) == 2

        job = rig.bay(BAY).job
        tab.goto(f"{page}/job/{job}")
        for kind in ("HTML", "PDF"):  # the first is made at once: it waits for the seal
            with tab.expect_download(timeout=60_000) as download:
                tab.get_by_role("link", name=f"Certificate {kind}").click()
            download.value.save_as(rig.folder / f"certificate.{kind.lower()}")

    made = (rig.folder / "certificate.html").read_text(encoding="utf-8")
    assert "<b>PASS</b>" in made
    assert "the workshop" in made
    for kind, word in (("html", b"MR-25 no. 031"), ("pdf", b"endobj")):
        file = rig.folder / f"certificate.{kind}"
        content = file.read_bytes()
        assert verified(rig, file) == 0
        at = content.index(word) + len(word) - 1
        file.write_bytes(content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :])
        assert verified(rig, file) == 1
    assert rig.daemon.end() == 0, rig.daemon.log()
