"""A daemon in the test's process with one bay on a real line, of which the test holds the node's end."""

import contextlib
import os
import time
import tty
from pathlib import Path

from typer.testing import CliRunner, Result

from daemon.api.client import Client
from daemon.api.models import Reading
from daemon.cli.main import app
from daemon.config import RackFile
from sensors.framing import seal
from sensors.senml import encode
from tests.daemon.api_rig import running

RACK = """
[[link]]
name = "left"
kind = "serial"
port = "{port}"
[[bay]]
name = "bay-1"
link = "left"
"""


class Bench:
    """A daemon in this process, and the node's end of its line."""

    def __init__(self, folder: Path) -> None:
        self.config = RackFile.from_file(folder / "rack.toml")
        self.rack_file = folder / "rack.toml"
        self._master, slave = os.openpty()
        tty.setraw(slave)
        (folder / "port").unlink(missing_ok=True)
        (folder / "port").symlink_to(os.ttyname(slave))
        os.close(slave)
        self._seq = 0
        with contextlib.ExitStack() as ends:
            self.rack, self.store, self.url = ends.enter_context(running(self.config))
            self._ends = ends.pop_all()

    def close(self) -> None:
        """Stop all of it."""
        self._ends.close()
        os.close(self._master)

    def read(self, client: Client, forward: float, unit: str = "W") -> Reading:
        """Send forward power until the bay's page has one that came after this call."""
        self._seq += 1
        first, end_s = self._seq, time.monotonic() + 10
        while time.monotonic() < end_s:
            pack = encode("bay-1", time.time(), [("forward", unit, forward), ("heatsink", "Cel", 30.0)], self._seq)
            os.write(self._master, seal(pack))
            self._seq += 1
            client.bay("bay-1")
            last = self.rack.bays["bay-1"].last
            if last is not None and last.seq >= first:
                return next(r for r in client.bay("bay-1").readings if r.channel == "forward")
        raise AssertionError("no reading came")


def keysoak(*words: object, put: str | None = None) -> Result:
    """Run the command to its end."""
    return CliRunner().invoke(app, [*map(str, words)], input=put)
