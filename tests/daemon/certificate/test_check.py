"""The certificate over the API and the command line, and whether one can be trusted."""

import asyncio
import hashlib
import re
import shutil
from pathlib import Path

import httpx
import pytest
from typer.testing import CliRunner

from daemon.api.history import build_history
from daemon.certificate.check import check
from daemon.certificate.make import Certificates
from daemon.cli.main import app
from daemon.config import RackFile, WorkshopTable
from daemon.errors import BadFile, CertificateBroken, SealUnknown
from daemon.store import Reader
from tests.daemon.certificate.conftest import FAILED, PASSED


@pytest.fixture(scope="module")
def made(soaked: Path) -> bytes:
    """The page of the soak that failed."""
    return Certificates(soaked, WorkshopTable(name="the workshop")).html(FAILED)


def signed_anew(document: bytes) -> bytes:
    """A forger's page: changed, and with a digest that fits it again."""
    blank = re.sub(rb'(name="sha-256" content=")[0-9a-f]{64}', rb"\g<1>" + b"0" * 64, document)
    digest = hashlib.sha256(blank).hexdigest().encode()
    return blank.replace(b"0" * 64, digest, 1)


def test_a_certificate_that_was_made_is_good(soaked: Path, tmp_path: Path, made: bytes) -> None:
    """Whatever its file is called."""
    (tmp_path / "any.html").write_bytes(made)
    assert check(soaked, tmp_path / "any.html").verdict == "fail"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (b"<b>FAIL</b>", b"<b>PASS</b>", "NOT as it was made"),  # what is read
        (b'"verdict":"fail"', b'"verdict":"pass"', "verdict"),  # what is in the facts
        (b'"unit":"MR-25 no. 002"', b'"unit":"MR-25 no. 022"', "unit"),
        (b'"sha256":"', b'"sha256":"00', "of nothing that was sealed"),
    ],
)
def test_a_forger_who_makes_a_new_digest_is_found_out(
    soaked: Path, tmp_path: Path, made: bytes, *, old: bytes, new: bytes, says: str
) -> None:
    """What is read must be what the facts say, and these what the catalog has."""
    assert old in made
    (tmp_path / "forged.html").write_bytes(signed_anew(made.replace(old, new)))
    with pytest.raises(CertificateBroken, match=says):
        check(soaked, tmp_path / "forged.html")


def test_a_flipped_byte_of_the_readings_is_found_by_the_certificate(soaked: Path, tmp_path: Path, made: bytes) -> None:
    """The sealed file must still be what the certificate's digest is of."""
    folder = tmp_path / "data"
    shutil.copytree(soaked, folder)
    path = Reader(folder).seals.path(FAILED)
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    (tmp_path / "one.html").write_bytes(made)
    with pytest.raises(CertificateBroken, match="missing, or was changed"):
        check(folder, tmp_path / "one.html")
    assert b"MISSING OR CHANGED" in Certificates(folder, WorkshopTable()).html(FAILED)


def test_nothing_is_said_of_a_page_that_is_none_of_ours(soaked: Path, tmp_path: Path) -> None:
    """Neither good nor bad."""
    (tmp_path / "other.html").write_text("<!doctype html><title>a page</title>")
    with pytest.raises(SealUnknown, match="no certificate"):
        check(soaked, tmp_path / "other.html")


def test_the_history_process_gives_certificates(soaked: Path) -> None:
    """As PDF and as a page to keep; a job that is not there is 404, with the reason."""
    served = httpx.ASGITransport(build_history(soaked, "127.0.0.1", WorkshopTable(name="shop")))

    async def ask(*paths: str) -> list[httpx.Response]:
        async with httpx.AsyncClient(transport=served, base_url="http://127.0.0.1") as client:
            return [await client.get(f"/v1/jobs/{path}") for path in paths]

    asked = (f"{PASSED}/certificate.pdf", f"{PASSED}/certificate.html", "99/certificate.pdf")
    pdf, page, none = asyncio.run(ask(*asked))
    assert (pdf.headers["content-type"], pdf.content[:5]) == ("application/pdf", b"%PDF-")
    assert page.headers["content-disposition"] == f'attachment; filename="certificate-job-{PASSED}.html"'
    assert "shop" in page.text
    assert "no job 99" in none.json()["detail"]
    assert none.status_code == 404


def test_the_command_writes_a_certificate_and_verify_takes_it(soaked: Path, tmp_path: Path) -> None:
    """Exit status 0 where it is good, 1 where a byte was flipped, 2 for an ending that is none."""
    run = CliRunner().invoke
    where = ["--data", str(soaked), "--rack", str(tmp_path / "none.toml")]
    for name in ("c.pdf", "c.html"):
        assert run(app, ["certificate", str(PASSED), str(tmp_path / name), *where]).exit_code == 0
    assert (tmp_path / "c.pdf").read_bytes().startswith(b"%PDF-")
    good = run(app, ["verify", str(tmp_path / "c.html"), *where])
    assert (good.exit_code, "as it was made" in good.output) == (0, True)
    content = (tmp_path / "c.html").read_bytes().replace(b"PASS", b"PASs", 1)
    (tmp_path / "c.html").write_bytes(content)
    assert run(app, ["verify", str(tmp_path / "c.html"), *where]).exit_code == 1
    assert run(app, ["certificate", str(PASSED), str(tmp_path / "c.doc"), *where]).exit_code == 2
    assert not list(tmp_path.glob(".*"))


def test_rack_toml_names_the_workshop_and_its_mark(tmp_path: Path) -> None:
    """The mark is looked for beside rack.toml, and looked at when the file is read."""
    text = '[workshop]\nname = "shop"\nmark = "mark.svg"\n[[link]]\nname = "a"\nkind = "serial"\nport = "x"\n'
    text += '[[bay]]\nname = "bay-1"\nlink = "a"\n'
    (tmp_path / "rack.toml").write_text(text)
    with pytest.raises(BadFile, match=r"workshop\.mark"):
        RackFile.from_file(tmp_path / "rack.toml")
    (tmp_path / "mark.svg").write_text("<svg/>")
    assert RackFile.from_file(tmp_path / "rack.toml").workshop.mark == tmp_path / "mark.svg"
