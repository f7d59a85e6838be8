"""What tests of the serial link share."""

from pathlib import Path

import pytest

from tests.sensors.serial_rig import Plug


@pytest.fixture
def plug(tmp_path: Path) -> Plug:
    """A node, plugged in."""
    end = Plug(tmp_path / "ttyNODE")
    end.plug()
    return end
