"""One connection of a serial port: reading and writing on one thread, neither held up by the other."""

import os
import select
import threading
import time
from collections.abc import Callable

from sensors.errors import LinkFailed
from sensors.framing import seal
from sensors.outbox import Order, Outbox
from sensors.types import Clock, Frame

_CHUNK_BYTES = 16 * 1024
#: how long the last unkeys are tried when the link ends
_FAREWELL_S = 0.5
#: the loop looks at ``stop`` at least so often
_LOOK_S = 0.5


class Session:
    """Reads and writes ``fd`` (non-blocking) until told to stop; at most one line is begun, so an unkey is next."""

    def __init__(self, where: str, fd: int, outbox: Outbox, clock: Clock) -> None:
        self._where, self._fd, self._outbox, self._clock = where, fd, outbox, clock
        self._order: Order | None = None
        self._begun = b""
        # ends whatever an earlier connection left half said: its rest would spoil the first line, perhaps an unkey
        self._prefix = b"\n"

    def run(
        self,
        frames_of: Callable[[bytes], list[Frame]],
        hand_over: Callable[[list[Frame]], None],
        woken: int,
        stop: threading.Event,
    ) -> None:
        """Until ``stop``, and then until all is told or half a second is over.

        Raises LinkFailed when the port is lost; an unkey that was begun and not ended is in the outbox again by then.
        """
        try:
            self._run(frames_of, hand_over, woken, stop)
        except LinkFailed:
            if self._order is not None:
                self._outbox.put_back(self._order)
            raise

    def _run(
        self,
        frames_of: Callable[[bytes], list[Frame]],
        hand_over: Callable[[list[Frame]], None],
        woken: int,
        stop: threading.Event,
    ) -> None:
        ends_s: float | None = None
        while True:
            self._begin()
            if stop.is_set():
                # real time, as the caller's clock may be a test's: this must end
                ends_s = ends_s or time.monotonic() + _FAREWELL_S
                if not self._begun or time.monotonic() > ends_s:
                    return
            readable, writable = self._wait(woken)
            if woken in readable:
                _drain(woken)
            if writable:
                self._write()
            if self._fd in readable and (frames := frames_of(self._read())):
                hand_over(frames)

    def _begin(self) -> None:
        if not self._begun and (order := self._outbox.next()) is not None:
            self._order = order
            self._begun = self._prefix + seal(order.pack(self._clock()))
            self._prefix = b""

    def _wait(self, woken: int) -> tuple[list[int], list[int]]:
        try:
            readable, writable, _ = select.select([self._fd, woken], [self._fd] if self._begun else [], [], _LOOK_S)
        except OSError as err:
            raise self._lost(err) from err
        return readable, writable

    def _write(self) -> None:
        try:
            written = os.write(self._fd, self._begun)
        except BlockingIOError:
            return
        except OSError as err:
            raise self._lost(err) from err
        self._begun = self._begun[written:]
        if not self._begun:
            self._order = None

    def _read(self) -> bytes:
        try:
            chunk = os.read(self._fd, _CHUNK_BYTES)
        except BlockingIOError:
            return b""
        except OSError as err:
            raise self._lost(err) from err
        if not chunk:
            raise LinkFailed(self._where, "unplugged")
        return chunk

    def _lost(self, err: OSError) -> LinkFailed:
        return LinkFailed(self._where, f"unplugged ({err.strerror})")


def _drain(woken: int) -> None:
    try:
        while os.read(woken, 4096):
            pass
    except BlockingIOError:
        return
