"""Frames and stores for the tests of the daemon."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from alerts.types import Event, Finding, Priority
from daemon.store import Store
from daemon.store.items import JobStarted
from sensors.types import CHANNELS, NAN, Frame, Quality

#: any moment will do: 2025-11-25 07:00 UTC
START_NS = 1_764_054_000 * 10**9
PLAN = '[[phase]]\ndrive = "carrier"\nminutes = 120\n'


@pytest.fixture(scope="session")
def frame_at() -> Callable[..., Frame]:
    """Make a frame at so many seconds after the start, with channels by name (None: missing)."""

    def make(at_s: float, bay: str = "bay-1", **channels: float | None) -> Frame:
        given: dict[str, float | None] = {"heatsink": 22.0, "supply": 13.8, "forward": 25.0, "key": 1.0}
        given |= {name.replace("_", "-"): value for name, value in channels.items()}
        found = [given.get(name) for name in CHANNELS]
        return Frame(
            bay,
            START_NS + round(at_s * 1e9),
            1000.0 + at_s,
            round(at_s * 1000) // 1000 if at_s == round(at_s) else round(at_s * 1e6) % 2**32,
            tuple(NAN if v is None else v for v in found),
            bytes(Quality.MISSING if v is None else Quality.GOOD for v in found),
        )

    return make


@pytest.fixture(scope="session")
def job_at() -> Callable[..., JobStarted]:
    """Make the start of a job, so many seconds after the start."""

    def make(job: int = 1, bay: str = "bay-1", at_s: float = 0.0) -> JobStarted:
        return JobStarted(
            job=job,
            number=f"J-{job}",
            unit="MR-25 no. 014",
            bay=bay,
            plan_name="evening soak",
            plan_text=PLAN,
            limits={"heatsink_c": 75.0},
            started_ns=START_NS + round(at_s * 1e9),
            clock_s=1000.0 + at_s,
        )

    return make


@pytest.fixture(scope="session")
def finding_at() -> Callable[..., Finding]:
    """Make a finding."""

    def make(at_s: float, text: str = "heatsink 76.0 °C, limit 75.0 °C", value: float = 76.0) -> Finding:
        time_ns = START_NS + round(at_s * 1e9)
        return Finding(time_ns, "bay-1", "over-temperature", Event.RAISED, Priority.TRIP, value, 75.0, "Cel", text)

    return make


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A store in a folder of its own."""
    with Store(tmp_path / "data", commit_s=0.02) as made:
        yield made
