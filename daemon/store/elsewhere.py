"""The store's files, written by a process of its own: what is taken here goes to it, and its word on it comes back.

A thread that wrote them held up the safety loop by the interpreter's lock, and went before all else with it.
"""

import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import structlog

from daemon.priority import USUAL_NICE, after
from daemon.store.items import Item, JobEnded, JobStarted
from daemon.store.parcels import Begin, Said, decode_said, encode_begin, parcel, read_parcel, send_parcel
from sensors.backoff import Backoff

log = structlog.get_logger()

#: how long it may take to end once all that was given to it is on disk
END_S = 5.0
#: asks to try once more what could not be kept
AGAIN = b""


class Elsewhere:
    """A ``Disk`` behind a pipe. What has no answer yet is kept here and sent anew to the next process, should one die.

    ``lock`` is the folder's: the process holds it too, so that no other daemon writes before it has ended. All but
    making it is for the one thread of a Writer.
    """

    def __init__(self, folder: Path, lock: int) -> None:
        self._folder, self._lock = folder, lock
        self._running: dict[int, JobStarted] = {}  # as of what is kept
        self._items: Sequence[Item] = ()
        self._data = AGAIN
        self._sent = False
        self._backoff = Backoff()
        self._next_start_s = 0.0
        self._unfit_before = 0  # by earlier processes, and what could not even be sent
        self._said = Said()
        self._why_unsent = ""
        self._process: subprocess.Popen[bytes] | None = self._start(again=False)

    @property
    def unfit(self) -> int:
        """How many items could not be kept, ever."""
        return self._unfit_before + self._said.unfit

    @property
    def unfit_why(self) -> str:
        """Why the last of them could not."""
        return self._said.unfit_why or self._why_unsent

    def take(self, items: Sequence[Item]) -> None:
        """Add items in the order in which they were put; all that was taken before is kept by now."""
        self._data, refused = parcel(items)
        for why in refused:
            self._unfit_before += 1
            self._why_unsent = why
        self._items, self._sent = items, False

    def commit(self) -> None:
        """Have kept what was taken; raises OSError with the reason, and may then be called again."""
        process = self._process or self._start_again()
        try:
            assert process.stdin
            assert process.stdout
            send_parcel(process.stdin, AGAIN if self._sent else self._data)
            self._sent = True
            said = decode_said(read_parcel(process.stdout))
        except (OSError, EOFError) as err:
            self._lose(process)
            raise OSError("the process that writes to disk has died and is started again") from err
        self._said = said
        if said.trouble:
            raise OSError(said.trouble)
        for item in self._items:
            if isinstance(item, JobStarted):
                self._running[item.job] = item
            elif isinstance(item, JobEnded):
                self._running.pop(item.job, None)
        self._items, self._data = (), AGAIN

    def fill(self) -> None:
        """The other process does that by itself, whenever it has nothing to write."""

    def close(self) -> None:
        """End it; what it has taken and not kept it tries once more."""
        process, self._process = self._process, None
        if process is None:
            return
        assert process.stdin
        assert process.stdout
        with process.stdout:
            process.stdin.close()
            try:
                process.wait(END_S)
            except subprocess.TimeoutExpired:
                log.warning("the process that writes to disk does not end: it goes on alone")

    def _start(self, *, again: bool) -> "subprocess.Popen[bytes]":
        words = [sys.executable, "-m", "daemon.store.writing", str(self._folder)]
        process = subprocess.Popen(
            after(words, USUAL_NICE),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            bufsize=0,  # nothing is left half sent
            pass_fds=[self._lock],
            process_group=0,  # a Ctrl-C at the terminal is for the daemon to answer
        )
        assert process.stdin
        send_parcel(process.stdin, encode_begin(Begin(list(self._running.values()), again)))
        self._next_start_s = time.monotonic() + self._backoff.wait_s()
        return process

    def _start_again(self) -> "subprocess.Popen[bytes]":
        if time.monotonic() < self._next_start_s:
            raise OSError("the process that writes to disk has died and is started again")
        self._process = self._start(again=True)
        return self._process

    def _lose(self, process: "subprocess.Popen[bytes]") -> None:
        self._unfit_before, self._said = self.unfit, Said(unfit_why=self._said.unfit_why)
        process.kill()
        for pipe in (process.stdin, process.stdout):
            assert pipe
            pipe.close()
        status = process.wait()
        log.warning("the process that writes to disk has died and is started again", status=status)
        self._process, self._sent = None, False
