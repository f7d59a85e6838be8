"""The API's processes from the daemon's side: started, started again when they die, ended."""

import socket
import subprocess
import sys
import threading
from pathlib import Path

import structlog

from daemon.priority import AFTER_NICE, after
from sensors.backoff import Backoff

log = structlog.get_logger()

END_S = 5.0
#: how long a server of the API keeps a connection on which nothing is asked
KEPT_ALIVE_S = 60


class Door:
    """One process of the API on a socket that stays open here, so that a caller waits while it is started again."""

    def __init__(self, name: str, listener: socket.socket, *words: str) -> None:
        self._name, self._listener, self._words = name, listener, words
        self._ending = threading.Event()
        self.ready = False
        self._process = self._start()
        self._thread = threading.Thread(target=self._mind, name=f"door {name}", daemon=True)
        self._thread.start()

    @property
    def pid(self) -> int:
        """The process that is there now."""
        return self._process.pid

    def close(self) -> None:
        """End it."""
        self._ending.set()
        self._end_process()
        self._thread.join(END_S)
        self._listener.close()

    def _end_process(self) -> None:
        if self._process.stdin:
            self._process.stdin.close()
        try:
            self._process.wait(END_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()

    def _start(self) -> "subprocess.Popen[bytes]":
        handle = self._listener.fileno()
        return subprocess.Popen(
            after([sys.executable, "-m", "daemon.api.process", self._name, str(handle), *self._words], AFTER_NICE),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            pass_fds=[handle],
            # a Ctrl-C at the terminal is for the daemon to answer; not a session of its own, as Linux shares out
            # processors by session first (sched(7), autogroup), and this one is to come after the daemon
            process_group=0,
        )

    def _mind(self) -> None:
        backoff = Backoff()
        while True:
            process = self._process
            assert process.stdout
            with process.stdout as out:
                if out.readline():
                    self.ready = True
            status = process.wait()
            if self._ending.is_set():
                return
            log.warning("a process of the API has died and is started again", process=self._name, status=status)
            if self._ending.wait(backoff.wait_s()):
                return
            self._process = self._start()


class Doors:
    """The front door on ``listener`` and the history behind it; ``workshop`` is its table of rack.toml as JSON."""

    def __init__(self, listener: socket.socket, host: str, data: Path, daemon_port: int, workshop: str) -> None:
        self.port: int = listener.getsockname()[1]
        inner = socket.create_server(("127.0.0.1", 0))
        history_url = f"http://127.0.0.1:{inner.getsockname()[1]}"
        self._doors = [
            Door("history", inner, str(data), host, workshop),
            Door("front", listener, f"http://127.0.0.1:{daemon_port}", history_url),
        ]

    @property
    def ready(self) -> bool:
        """Whether the front door answers; who asks what was kept waits until that can be told."""
        return self._doors[-1].ready

    def close(self) -> None:
        """End them."""
        for door in reversed(self._doors):
            door.close()
