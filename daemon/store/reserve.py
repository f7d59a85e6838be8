"""Room that is set aside on the disk, and given up when it is full: for the words that tell a person of it."""

import os
import shutil
import time
from contextlib import suppress
from pathlib import Path

NAME = "set-aside"
#: an alert and what became of its messages take some 10 kB; readings, which take of it too, leave it some minutes
ROOM_BYTES = 2 * 2**20
#: less than this left on a disk that took something no more: it is full
FULL_BYTES = ROOM_BYTES // 4
#: it is set aside anew when as much again is left, looked for this often
LOOK_S = 5.0
GIVEN_UP = "The disk is full: the room that was set aside for this case is in use now, and lasts for minutes at most."


class Reserve:
    """A file of the store's folder that takes the room; for one thread."""

    def __init__(self, folder: Path, room_bytes: int = ROOM_BYTES) -> None:
        self._path, self._room_bytes = folder / NAME, room_bytes
        self._due_s = 0.0
        self.error = ""
        self.look()

    def give_up(self) -> None:
        """What was to be written was not: make room for it, if it was that."""
        with suppress(OSError):  # no such file, or a folder that is gone: then it is not that
            if shutil.disk_usage(self._path.parent).free < FULL_BYTES:
                self._path.unlink()
                self.error = GIVEN_UP

    def look(self) -> None:
        """Set it aside, where it is not and there is room enough; at most once in a few seconds."""
        if time.monotonic() < self._due_s:
            return
        self._due_s = time.monotonic() + LOOK_S
        with suppress(OSError):  # no room, or a file system that can't: it is looked for again
            if not self._path.exists() and shutil.disk_usage(self._path.parent).free > 2 * self._room_bytes:
                self._take()
        if self._path.exists():
            self.error = ""

    def _take(self) -> None:
        handle = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            os.posix_fallocate(handle, 0, self._room_bytes)
        except OSError:
            self._path.unlink()
            raise
        finally:
            os.close(handle)
