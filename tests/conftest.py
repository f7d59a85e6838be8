"""What tests of several rooms need: a real broker on a free port, and a look that nothing was left running."""

import contextlib
import os
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

# a deadline would time the machine's other work, not the code
settings.register_profile("keysoak", deadline=None)
settings.load_profile("keysoak")

#: Debian puts daemons where a plain user's PATH does not look
DAEMON_FOLDERS = "/usr/sbin:/usr/local/sbin"
START_S = 10.0


class Broker:
    """A Mosquitto on the loopback, on one port over all its lives; what was queued for a session survives kill()."""

    def __init__(self, folder: Path) -> None:
        path = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:{DAEMON_FOLDERS}")
        assert path, "Mosquitto is not installed: sh deploy/test.sh installs it"
        self._program = path
        self._folder = folder
        self._child: subprocess.Popen[bytes] | None = None
        self.host = "127.0.0.1"
        self.port = 0

    def start(self) -> None:
        """Start, on the same port as before; returns when it answers."""
        for _ in range(5):
            self.port = self.port or _free_port()
            if self._start():
                return
            self.port = 0  # another program took it between the look and the start
        raise AssertionError(f"Mosquitto does not start: {(self._folder / 'mosquitto.log').read_text()[-2000:]}")

    def stop(self) -> None:
        """End it as an administrator does (SIGTERM)."""
        if self._child is not None:
            for _ in range(round(START_S)):
                # again and again: one that comes while it starts is forgotten (Mosquitto 2.0.11, measured)
                self._child.terminate()
                with contextlib.suppress(subprocess.TimeoutExpired):
                    self._child.wait(1.0)
                    break
            else:
                raise AssertionError("Mosquitto does not end")
            self._child = None

    def kill(self) -> None:
        """End it as a power cut does (SIGKILL)."""
        if self._child is not None:
            self._child.kill()
            self._child.wait(START_S)
            self._child = None

    def settings(self) -> list[str]:
        """Its configuration."""
        lines = [
            f"listener {self.port} {self.host}",
            "allow_anonymous true",
            "persistence true",
            f"persistence_location {self._folder}/",
            # without these two a kill loses what was queued for a session (measured)
            "autosave_on_changes true",
            "autosave_interval 1",
            "max_queued_messages 0",
            "set_tcp_nodelay true",
        ]
        if os.geteuid() == 0:
            lines.append("user root")  # else it gives up root, and then its own folder
        return lines

    def _start(self) -> bool:
        conf = self._folder / "mosquitto.conf"
        conf.write_text("\n".join(self.settings()) + "\n")
        with (self._folder / "mosquitto.log").open("ab") as log:
            self._child = subprocess.Popen([self._program, "-c", str(conf)], stdout=log, stderr=log)
        ends_s = time.monotonic() + START_S
        while time.monotonic() < ends_s and self._child.poll() is None:
            try:
                socket.create_connection((self.host, self.port), timeout=1).close()
            except OSError:
                time.sleep(0.01)
            else:
                return True
        self.kill()
        return False


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Broker]:
    """A running broker of this test's own: host, port, start(), stop(), kill()."""
    folder = tmp_path / "mosquitto"
    folder.mkdir()
    broker = Broker(folder)
    broker.start()
    try:
        yield broker
    finally:
        broker.kill()


@pytest.fixture
def nothing_left_running() -> Iterator[None]:
    """Fails the test when a thread that it started is still there a second after it."""
    before = set(threading.enumerate())
    yield
    ends_s = time.monotonic() + 1.0
    while (left := set(threading.enumerate()) - before) and time.monotonic() < ends_s:
        time.sleep(0.01)
    assert not left, f"left running: {sorted(thread.name for thread in left)}"
