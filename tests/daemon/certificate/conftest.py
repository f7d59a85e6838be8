"""A store with three soaks of the twin, sealed: one that passes, one that fails, one whose load goes bad."""

import time
from pathlib import Path

import pytest

from daemon.booking.kept import Bookings
from daemon.certificate.facts import Facts, Workshop
from daemon.certificate.gather import gather
from daemon.demo.history import soak_instantly
from daemon.demo.world import Unit
from daemon.store import Reader, Store
from daemon.store.reader import CATALOG

#: any moment will do: 2025-11-25 07:00 UTC
START_NS = 1_764_054_000 * 10**9
PLAN = """
name = "short soak"
[[phase]]
drive = "off"
minutes = 0.5
[[phase]]
drive = "carrier"
minutes = 2
on_s = 20
off_s = 10
[[phase]]
drive = "carrier"
minutes = 1
"""
HOG = '{ kind = "current-hog", device = 2, threshold_v = 0.6, at_s = 5, ramp_s = 20, counts = "key-down" }'
BAD_LOAD = '{ kind = "bad-load", gamma = 0.5, at_s = 10, ramp_s = 5, counts = "key-down" }'
PASSED, FAILED, INCOMPLETE = 1, 2, 3
UNITS = (
    Unit("bay-1", 1, "2026-101", "MR-25 no. 001"),
    Unit("bay-2", 2, "2026-102", "MR-25 no. 002", fault=HOG),
    Unit("bay-3", 3, "2026-103", "MR-25 no. 003", fault=BAD_LOAD),
)


@pytest.fixture(scope="session")
def soaked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the store; not to be written to."""
    folder = tmp_path_factory.mktemp("soaked") / "data"
    plan = folder.with_name("plan.toml")
    plan.write_text(PLAN)
    with Store(folder) as store:
        for i, unit in enumerate(UNITS):
            soak_instantly(unit, store, START_NS + i * 3600 * 10**9, plan)
        store.flush(60.0)
        end_s = time.monotonic() + 60.0
        while len(store.seals.of(1, len(UNITS))) < len(UNITS):
            assert time.monotonic() < end_s, "not sealed within a minute"
            time.sleep(0.05)
    return folder


@pytest.fixture(scope="session")
def facts(soaked: Path) -> Facts:
    """The facts of the soak that passed."""
    return gather(
        Reader(soaked), Bookings(soaked / CATALOG), PASSED, Workshop(name="the workshop"), now_ns=START_NS * 2
    )
