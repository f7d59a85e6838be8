"""A certificate that is asked for before the readings of its soak are sealed."""

import shutil
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import msgspec
import pytest

from daemon.certificate import make
from daemon.certificate.check import check
from daemon.certificate.make import Certificates
from daemon.config import WorkshopTable
from daemon.errors import SealUnknown
from daemon.store import Reader, Store
from daemon.store.items import JobEnded, JobStarted
from daemon.store.reader import CATALOG
from sensors.types import Frame
from tests.daemon.certificate.conftest import PASSED


@pytest.fixture
def unsealed(soaked: Path, tmp_path: Path) -> Path:
    """The soak that passed, long ago, of which nothing was ever sealed."""
    folder = tmp_path / "data"
    shutil.copytree(soaked, folder)
    with closing(sqlite3.connect(folder / CATALOG)) as db:
        db.execute("DELETE FROM seals WHERE job = ?", (PASSED,))
        db.commit()
    Reader(folder).seals.path(PASSED).unlink()
    return folder


def test_it_says_so_on_its_face_and_is_not_waited_for_long_after(unsealed: Path) -> None:
    """In the stamp, and where the digest would stand."""
    began_s = time.monotonic()
    page = Certificates(unsealed, WorkshopTable()).html(PASSED).decode()
    assert time.monotonic() - began_s < make.WAIT_S
    assert "<strong>Provisional: readings not sealed yet</strong>" in page
    assert "NOT SEALED YET when this was made" in page


def test_verify_tells_that_it_is_as_made_and_proves_nothing_of_the_readings(
    unsealed: Path, soaked: Path, tmp_path: Path
) -> None:
    """And whether to make it anew now."""
    file = tmp_path / "early.html"
    file.write_bytes(Certificates(unsealed, WorkshopTable()).html(PASSED))
    with pytest.raises(SealUnknown, match=r"pass\. But it was made before the readings were sealed.*; make it anew"):
        check(unsealed, file)
    with pytest.raises(SealUnknown, match="by now they are: make it anew"):
        check(soaked, file)


def test_one_of_a_soak_that_has_just_ended_waits_for_the_seal(
    tmp_path: Path, frame_at: Callable[..., Frame], job_at: Callable[..., JobStarted]
) -> None:
    """Whoever presses the button in the second after the end has a certificate that can be verified."""
    with Store(tmp_path / "data", commit_s=0.02) as store:
        now_ns = time.time_ns()
        store.put(msgspec.structs.replace(job_at(1), started_ns=now_ns - 60 * 10**9))
        for i in range(120):
            frame = frame_at(i / 2)
            store.put(msgspec.structs.replace(frame, time_ns=now_ns - 60 * 10**9 + i * 500_000_000))
        store.put(JobEnded(1, now_ns, "pass", [], {"heatsink_max_c": 22.0}))
        store.flush()
        file = tmp_path / "at-once.html"
        file.write_bytes(Certificates(tmp_path / "data", WorkshopTable()).html(1))
        assert check(tmp_path / "data", file).sealed is not None
