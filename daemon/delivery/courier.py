"""The daemon's side of a send: a process a message, killed at its time limit."""

import subprocess
import sys
import threading
from collections.abc import Callable

import msgspec

from daemon.delivery.hush import hush
from daemon.delivery.message import Answer, Errand, Message
from daemon.errors import SendFailed
from daemon.priority import LAST_NICE, after

#: apprise waits up to 15 s for a mail server to answer, up to 8 s for a web server
LIMIT_S = 20.0
#: beside the send itself the process takes its start, which on a loaded small machine is seconds
START_S = 10.0

Send = Callable[[str, Message], None]


class Courier:
    """Sends messages, from any thread; every call ends within ``limit_s`` and the start of a process."""

    def __init__(self, limit_s: float = LIMIT_S) -> None:
        self._limit_s = limit_s
        self._running: set[subprocess.Popen[bytes]] = set()
        self._lock = threading.Lock()
        self._closed = False

    def send(self, url: str, message: Message) -> None:
        """Send one message; raises SendFailed, whose sentence has nothing of the URL in it."""
        errand = msgspec.json.encode(Errand(url, message, self._limit_s))
        process = self._start()
        try:
            out, err = process.communicate(errand, timeout=self._limit_s + START_S)
        except subprocess.TimeoutExpired as late:
            raise SendFailed(f"no end of it within {self._limit_s:g} s") from late
        finally:
            _end(process)
            with self._lock:
                self._running.discard(process)
        try:
            answer = msgspec.json.decode(out, type=Answer)
        except msgspec.DecodeError as broken:
            last = err.decode(errors="replace").strip().rpartition("\n")[2]
            ended = f"the process that sends it ended with {process.returncode}"
            raise SendFailed(f"{ended}: {hush(last, url)}" if last else ended) from broken
        if answer.why:
            raise SendFailed(answer.why)

    def _start(self) -> subprocess.Popen[bytes]:
        with self._lock:
            if self._closed:
                raise SendFailed("the daemon is stopping")
            try:
                process = subprocess.Popen(
                    after([sys.executable, "-m", "daemon.delivery.sender"], LAST_NICE),
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.PIPE,
                    start_new_session=True,  # a Ctrl-C at the terminal is for the daemon to answer
                )
            except OSError as err:
                raise SendFailed(f"no process could be started to send it: {err.strerror}") from err
            self._running.add(process)
            return process

    def close(self) -> None:
        """Kill what is being sent; it stays in the outbox."""
        with self._lock:
            self._closed = True
            for process in self._running:
                process.kill()


def _end(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is None:
        process.kill()
        process.communicate()
