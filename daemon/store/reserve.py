"""Room that is set aside on the disk, and given up when it is full: for the words that tell a person of it.

A daemon that runs gives up one file; one that is started on a full disk gives up the other, without which it could not
even open its store.
"""

import os
import shutil
import time
from contextlib import suppress
from pathlib import Path

NAME, FOR_A_START = "set-aside", "set-aside-for-a-start"
#: of each; an alert and what became of its messages take some 10 kB; readings, which take of it too, leave it some
#: minutes
ROOM_BYTES = 2 * 2**20
#: less than this left on a disk that took something no more: it is full
FULL_BYTES = ROOM_BYTES // 4
#: it is set aside anew when as much again is left, looked for this often
LOOK_S = 5.0
GIVEN_UP = "The disk is full: the room that was set aside for this case is in use now, and lasts for minutes at most."


def full(folder: Path) -> bool:
    """Whether the disk of ``folder`` is; raises OSError."""
    return shutil.disk_usage(folder).free < FULL_BYTES


def room_to_start(folder: Path) -> bool:
    """A store is to be opened there: where its disk is full, give up what was set aside; whether that was so."""
    with suppress(OSError):  # another trouble, which opening will tell
        if full(folder):
            for name in (FOR_A_START, NAME):
                if (folder / name).is_file():
                    (folder / name).unlink()
                    return True
    return False


class Reserve:
    """Two files of the store's folder that take the room; for one thread.

    ``given_up``: one of them just was, for the start.
    """

    def __init__(self, folder: Path, room_bytes: int = ROOM_BYTES, *, given_up: bool = False) -> None:
        self._folder, self._room_bytes = folder, room_bytes
        self._due_s = 0.0
        self.error = GIVEN_UP if given_up else ""
        self.look()

    def give_up(self) -> None:
        """What was to be written was not: make room for it, if it was that."""
        with suppress(OSError):  # no such file, or a folder that is gone: then it is not that
            if full(self._folder):
                (self._folder / NAME).unlink()
                self.error = GIVEN_UP

    def look(self) -> None:
        """Set it aside, where it is not and there is room enough; at most once in a few seconds."""
        if time.monotonic() < self._due_s:
            return
        self._due_s = time.monotonic() + LOOK_S
        paths = [self._folder / name for name in (NAME, FOR_A_START)]
        with suppress(OSError):  # no room, or a file system that can't: it is looked for again
            for path in paths:
                if not path.exists() and shutil.disk_usage(self._folder).free > 2 * self._room_bytes:
                    self._take(path)
        if all(path.exists() for path in paths):
            self.error = ""

    def _take(self, path: Path) -> None:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            os.posix_fallocate(handle, 0, self._room_bytes)
        except OSError:
            path.unlink()
            raise
        finally:
            os.close(handle)
