"""A daemon in the test's process with one bay on a real line, of which the test holds the node's end."""

import asyncio
import os
import socket
import threading
import time
import tty
from pathlib import Path

from typer.testing import CliRunner, Result

from daemon.api.client import Client
from daemon.api.models import Reading
from daemon.api.server import ApiThread, build
from daemon.cli.main import app
from daemon.config import RackFile
from daemon.serve import make_rack
from daemon.store import Store
from sensors.framing import seal
from sensors.senml import encode

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
        self._began, self._stop = threading.Event(), asyncio.Event()
        self._loops: list[asyncio.AbstractEventLoop] = []
        self.store = Store(self.config.rack.data, commit_s=0.02)
        self.rack = make_rack(self.config, self.store)
        self._api = ApiThread(build(self.config, self.rack, self.store), socket.create_server(("127.0.0.1", 0)))
        self.url = f"http://127.0.0.1:{self._api.port}"
        self._thread = threading.Thread(target=asyncio.run, args=(self._run(),))
        self._thread.start()
        self._api.start()
        assert self._began.wait(5)

    async def _run(self) -> None:
        self._loops.append(asyncio.get_running_loop())
        self._loops[0].call_soon(self._began.set)
        await self.rack.run(self._stop)

    def close(self) -> None:
        """Stop all of it."""
        self._loops[0].call_soon_threadsafe(self._stop.set)
        self._thread.join(10)
        self._api.stop()
        self.store.close()
        os.close(self._master)
        assert not self._thread.is_alive()

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
