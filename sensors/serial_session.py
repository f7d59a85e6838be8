"""One connection of a serial port on the event loop: what is heard and what is told wait for each other nowhere."""

import asyncio
import os
from collections.abc import Callable, Iterable

from sensors.errors import LinkFailed
from sensors.framing import seal
from sensors.outbox import Order, Outbox, nobody
from sensors.types import Clock

#: a turn's worth of packs (ten or so): the loop has other ports, and keys to take back
_CHUNK_BYTES = 4 * 1024
#: how long the last unkeys are tried when the link ends
_FAREWELL_S = 0.5

Take = Callable[[bytes], None]
"""What a chunk of bytes is given to."""


class Session:
    """Reads and writes ``fd``, which must not block; at most one line is begun, so that an unkey is next.

    An order is written in the very call that puts it into ``outbox``, where the port has room.
    """

    def __init__(self, where: str, fd: int, outbox: Outbox, clock: Clock, take: Take) -> None:
        self._where, self._fd, self._outbox, self._clock, self._take = where, fd, outbox, clock, take
        self._loop = asyncio.get_running_loop()
        self._over: asyncio.Future[None] = self._loop.create_future()
        self._told = asyncio.Event()  # nothing waits to be written
        self._order: Order | None = None
        self._begun = b""
        # ends whatever an earlier connection left half said: its rest would spoil the first line, perhaps an unkey
        self._prefix = b"\n"

    async def run(self, bays: Iterable[str]) -> None:
        """Until cancelled; these ``bays`` are unkeyed then, within half a second.

        Raises LinkFailed when the port is lost, and what ``take`` raises. An unkey that was begun and not ended is in
        the outbox again by then.
        """
        self._loop.add_reader(self._fd, self._read)
        self._outbox.wake = self._speak
        try:
            self._speak()
            await self._over
        except asyncio.CancelledError:
            self._loop.remove_reader(self._fd)
            await self._farewell(bays)
            raise
        finally:
            self._outbox.wake = nobody
            self._loop.remove_reader(self._fd)
            self._loop.remove_writer(self._fd)
            if self._order is not None:
                self._outbox.put_back(self._order)

    async def _farewell(self, bays: Iterable[str]) -> None:
        for bay in bays:
            self._outbox.unkey(bay)
        try:
            async with asyncio.timeout(_FAREWELL_S):
                await self._told.wait()
        except TimeoutError:
            return

    def _speak(self) -> None:
        while self._begin():
            try:
                self._begun = self._begun[os.write(self._fd, self._begun) :]
            except BlockingIOError:
                pass
            except OSError as err:
                self._end(LinkFailed(self._where, f"unplugged ({err.strerror})"))
                return
            if self._begun:
                # no more room: the loop calls again when there is
                self._told.clear()
                self._loop.add_writer(self._fd, self._speak)
                return
            self._order = None
        if not self._told.is_set():
            self._told.set()
            self._loop.remove_writer(self._fd)

    def _begin(self) -> bool:
        if not self._begun and (order := self._outbox.next()) is not None:
            self._order = order
            self._begun = self._prefix + seal(order.pack(self._clock()))
            self._prefix = b""
        return bool(self._begun)

    def _read(self) -> None:
        try:
            chunk = os.read(self._fd, _CHUNK_BYTES)
        except BlockingIOError:
            return
        except OSError as err:
            self._end(LinkFailed(self._where, f"unplugged ({err.strerror})"))
            return
        if not chunk:
            self._end(LinkFailed(self._where, "unplugged"))
            return
        try:
            self._take(chunk)
        except Exception as err:  # noqa: BLE001  a fault of ours: it comes out of run()
            self._end(err)

    def _end(self, why: Exception) -> None:
        # a port that has gone is told of by the loop again and again
        self._loop.remove_reader(self._fd)
        self._loop.remove_writer(self._fd)
        self._outbox.wake = nobody
        self._told.set()
        if not self._over.done():
            self._over.set_exception(why)
