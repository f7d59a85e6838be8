"""One rack a test, all of whose parts are gone after it."""

import contextlib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.daemon.delivery.conftest import Hook
from tests.journeys.rig import OnePort, Rig


@pytest.fixture
def rig(tmp_path: Path, mosquitto: OnePort) -> Iterator[Rig]:
    """A rack of four twins whose daemon is not running yet."""
    with contextlib.ExitStack() as stack:
        yield Rig(tmp_path, mosquitto, stack)


@pytest.fixture
def hook() -> Iterator[Hook]:
    """The web server of whoever is told."""
    made = Hook()
    made.start()
    yield made
    made.stop()
