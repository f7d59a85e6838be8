"""A serial link of tests, and the node's end of its line."""

import asyncio
import os
import tty
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path

import pytest

from sensors.errors import LineRefused
from sensors.framing import LineSplitter, open_line, seal
from sensors.senml import encode
from sensors.serial_link import SerialLink
from sensors.types import Frame


class Plug:
    """The node's end of a line: the master of a pseudo-terminal behind a symbolic link that stays the same."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.heard: list[bytes] = []
        self._lines = LineSplitter()
        self._master = -1

    def plug(self) -> None:
        """Plug in: a new pseudo-terminal under the old name."""
        self._master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(self._master, False)
        self.path.unlink(missing_ok=True)
        self.path.symlink_to(os.ttyname(slave))
        os.close(slave)

    def pull(self) -> None:
        """Pull the plug."""
        if self._master >= 0:
            os.close(self._master)
            self._master = -1

    def say(self, data: bytes) -> None:
        """Put bytes on the line."""
        while data:
            try:
                data = data[os.write(self._master, data) :]
            except BlockingIOError:
                os.sched_yield()

    def hear(self) -> list[bytes]:
        """All packs heard up to now."""
        try:
            while True:
                for line in self._lines.feed(os.read(self._master, 4096)):
                    with suppress(LineRefused):
                        self.heard.append(open_line(line))
        except OSError:  # nothing more to read, or nobody has the other end open
            return self.heard


async def until(true: Callable[[], object], what: str, timeout_s: float = 10.0) -> None:
    """Wait for something to become true; fails with its name."""
    try:
        async with asyncio.timeout(timeout_s):
            while not true():  # noqa: ASYNC110  what is waited for is outside, and tells no event
                await asyncio.sleep(0.002)
    except TimeoutError:
        pytest.fail(f"did not come true within {timeout_s} s: {what}")


@asynccontextmanager
async def running(link: SerialLink) -> AsyncIterator[list[Frame]]:
    """The link running, and the frames that it delivers."""
    frames: list[Frame] = []
    before = asyncio.all_tasks()
    task = asyncio.create_task(link.run(frames.append))
    try:
        yield frames
    finally:
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        assert asyncio.all_tasks() <= before


def line(seq: int, bay: str = "bay-1", value: float = 40.0) -> bytes:
    """One line of one channel."""
    return seal(encode(bay, 1764054000 + seq / 2, [("heatsink", "Cel", value)], seq))


def link_to(plug: Plug, *bays: str, crc: bool = True) -> SerialLink:
    """A link to that node's bays."""
    return SerialLink("left", str(plug.path), {bay: {} for bay in bays or ("bay-1",)}, crc=crc)
