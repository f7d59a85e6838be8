"""The thread between the safety loop and the disk: what is put waits in memory until it is committed."""

import threading
from collections import deque
from contextlib import suppress

from daemon.errors import StoreBehind
from daemon.store.batch import FAILURES, Disk
from daemon.store.items import AlertChanged, Item
from daemon.store.reserve import Reserve
from sensors.types import Frame

#: below 100 MB of frames: with eight bays at 2 Hz an hour and three quarters, with 64 at 10 Hz 2.6 minutes
MOST_WAITING = 100_000
#: beyond that no frame is taken in; the few jobs and findings still are, up to this many more
MORE_ENTRIES = 10_000
COMMIT_S = 0.5
BATCH = 10_000


class _Mark:
    """Put by flush: set when everything before it is committed."""

    def __init__(self) -> None:
        self.done = threading.Event()


class Writer:
    """Commits what is put, at most ``commit_s`` seconds after it was.

    A commit that fails (disk full, file locked) is tried again until it succeeds, and ``error`` tells. Meanwhile
    at most ``most_waiting`` items wait in memory; what comes after that is not kept and is counted in ``dropped``.
    A ``reserve`` is given up for it, and set aside again when there is room.
    """

    def __init__(
        self,
        disk: Disk,
        most_waiting: int = MOST_WAITING,
        commit_s: float = COMMIT_S,
        reserve: Reserve | None = None,
    ) -> None:
        self._disk, self._reserve = disk, reserve
        self._most, self._commit_s = most_waiting, commit_s
        self._queue: deque[Item | _Mark] = deque()
        self._wake = threading.Event()
        self._counting = threading.Lock()  # held for one addition, never over a disk
        self._overflowed = 0
        self._taken = 0  # items in the batch
        self._marks: list[_Mark] = []
        self._trouble = ""
        self._closing = False
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)
        self._thread.start()

    def put(self, item: Item) -> None:
        """Take an item in; called from the safety loop, so it waits for nothing."""
        room = self._most if isinstance(item, Frame) else self._most + MORE_ENTRIES
        if self._closing or self.behind >= room:
            with self._counting:
                self._overflowed += 1
            return
        self._queue.append(item)
        if isinstance(item, AlertChanged):
            # not to be lost to a kill: on its way to disk at once. The lock within is never held over a disk
            self._wake.set()

    @property
    def behind(self) -> int:
        """How many items wait to be committed."""
        return len(self._queue) + self._taken

    @property
    def dropped(self) -> int:
        """How many items were not kept."""
        return self._overflowed + self._disk.unfit

    @property
    def error(self) -> str:
        """What is wrong, in sentences; what was lost stays told until the store is closed."""
        said = [self.refuses] if self.refuses else []
        if self._overflowed:
            said.append(f"{self._overflowed} readings came when no more could wait, and are lost.")
        if self._disk.unfit:
            said.append(f"{self._disk.unfit} readings could not be kept: {self._disk.unfit_why}.")
        if not self._thread.is_alive() and not self._closing:
            said.append("The thread that writes to disk has died: start the daemon again.")
        return " ".join(said)

    @property
    def refuses(self) -> str:
        """Why what is put now might not be kept, in sentences; empty once the disk takes all again."""
        said = []
        if self._trouble:
            said.append(f"Readings can't be written to disk: {self._trouble}. {self.behind} wait in memory.")
        if self._reserve and self._reserve.error:
            said.append(self._reserve.error)
        return " ".join(said)

    def flush(self, timeout_s: float) -> None:
        """Wait until everything put before is on disk; raises StoreBehind."""
        mark = _Mark()
        self._queue.append(mark)
        self._wake.set()
        if not mark.done.wait(timeout_s):
            raise StoreBehind(self.behind, self._trouble)

    def close(self, timeout_s: float) -> None:
        """Commit what waits, stop, let go of the files; raises StoreBehind when something is lost by it."""
        if self._closing:
            return
        self._closing = True
        self._wake.set()
        self._thread.join(timeout_s)
        if self._thread.is_alive():
            raise StoreBehind(self.behind, self._trouble or "the disk does not answer")
        self._disk.close()
        if self.behind:
            raise StoreBehind(self.behind, self._trouble)

    def _run(self) -> None:
        while True:
            self._wake.wait(self._commit_s)
            self._wake.clear()
            last = self._closing  # read before the queue is emptied: nothing is put after it
            while self._take() and self._commit():
                pass
            if last:
                return
            if self._reserve:
                self._reserve.look()
            self._fill()

    def _fill(self) -> None:
        # a step a round: no commit is to wait for it, and there is no hurry
        if not self._taken:
            with suppress(*FAILURES):  # tried again in the next round; should the disk be ill, the next commit tells
                self._disk.fill()

    def _take(self) -> bool:
        if not self._taken:
            self._taken = min(len(self._queue), BATCH)
            items = [self._queue.popleft() for _ in range(self._taken)]
            self._marks = [item for item in items if isinstance(item, _Mark)]
            self._disk.take([item for item in items if not isinstance(item, _Mark)])
        return bool(self._taken)

    def _commit(self) -> bool:
        try:
            self._disk.commit()
        except FAILURES as err:
            self._trouble = str(getattr(err, "orig", None) or err)
            if self._reserve:
                self._reserve.give_up()
            return False
        self._trouble, self._taken = "", 0
        for mark in self._marks:
            mark.done.set()
        return True
