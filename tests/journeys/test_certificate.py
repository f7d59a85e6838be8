"""From a soak to the certificate that goes back with the unit, and to a byte of it that was flipped."""

import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from tests.journeys.children import until
from tests.journeys.rig import Rig, plan

pytestmark = pytest.mark.journey


def verify(rig: Rig, path: Path) -> int:
    """The exit status of ``keysoak verify``."""
    words = [sys.executable, "-m", "daemon.cli.main", "verify", str(path), "--rack", str(rig.folder / "rack.toml")]
    return subprocess.run(words, capture_output=True, check=False, timeout=60).returncode


def test_a_certificate_comes_from_the_page_is_verified_and_a_flipped_byte_found(rig: Rig, tmp_path: Path) -> None:
    """Refused while the soak runs; then PDF and page with the workshop's name, while the daemon goes on."""
    rig.more = '[workshop]\nname = "the workshop"\n'
    rig.start_daemon()
    rig.start_page()
    rig.soak(plan(("idle", 2.0), ("carrier", 6.0)), ["bay-1"])
    job = rig.bay("bay-1").job
    with httpx.Client(base_url=rig.page.url, trust_env=False, timeout=60.0) as browser:
        early = browser.get(f"/job/{job}/certificate.pdf")
        assert early.status_code == 409
        assert "still runs" in early.text
        rig.ended("bay-1")
        until(lambda: rig.client.job(job or 0).sealed_sha256, "the seal")
        pdf, page = (browser.get(f"/job/{job}/certificate.{ending}") for ending in ("pdf", "html"))
    assert pdf.content.startswith(b"%PDF-")
    assert "the workshop" in page.text
    assert "<b>PASS</b>" in page.text
    path = tmp_path / "certificate.html"
    path.write_bytes(page.content)
    assert verify(rig, path) == 0
    path.write_bytes(page.content.replace(b"MR-25", b"MR-26", 1))
    assert verify(rig, path) == 1
    assert rig.daemon.end() == 0, rig.daemon.log()
