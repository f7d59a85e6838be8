"""The serial link: nodes on one port, lines with CRC, reconnecting after the plug was pulled."""

import asyncio
import errno
import os
import termios
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress

import serial

from sensors.backoff import LONGEST_S, Backoff
from sensors.errors import LineRefused, LinkFailed
from sensors.framing import LINE_LIMIT_BYTES, LineSplitter, open_line
from sensors.intake import Intake, Observe
from sensors.outbox import Outbox, nobody
from sensors.serial_session import Session
from sensors.types import Clock, Frame, LinkStats
from sensors.wiring import Wiring

#: batches on their way to the event loop before the port is left unread: bounds the memory when the loop is held up
_BATCHES = 64


class SerialLink:
    """One serial port and the bays behind it; a Link (sensors/types.py).

    ``port`` is opened anew by its path after each loss, so a symlink that a replugged device gets back is followed.
    The port is held exclusively. One thread reads in chunks, converts, and writes; the event loop only delivers.
    """

    def __init__(
        self,
        name: str,
        port: str,
        wirings: Mapping[str, Wiring],
        *,
        baud: int = 115200,
        crc: bool = True,
        clock: Clock = time.monotonic,
        wall_ns: Callable[[], int] = time.time_ns,
        observe: Observe | None = None,
    ) -> None:
        self.name = name
        self.stats = LinkStats()
        self._port, self._baud, self._crc = port, baud, crc
        self._bays = tuple(wirings)
        self._clock, self._wall_ns = clock, wall_ns
        self._intake = Intake(wirings, self.stats, observe)
        self._outbox = Outbox(clock)

    def lend(self, bay: str, lease_s: float, tone: bool | None = None) -> None:
        """Lend the key of ``bay`` for ``lease_s`` seconds from now."""
        self._outbox.lend(bay, lease_s, tone)

    def unkey(self, bay: str) -> None:
        """Take the key back at once; kept until it could be written."""
        self._outbox.unkey(bay)

    def cut(self, bay: str, opened: bool) -> None:
        """Unkey, and open (or close again) the supply relay."""
        self._outbox.unkey(bay, cut=opened)

    async def run(self, deliver: Callable[[Frame], None]) -> None:
        """Deliver frames on this event loop until cancelled; then unkey all bays, within half a second."""
        loop = asyncio.get_running_loop()
        inbox: asyncio.Queue[list[Frame]] = asyncio.Queue()
        room = threading.Semaphore(_BATCHES)
        stop = threading.Event()
        woken, waker = os.pipe()
        os.set_blocking(woken, False)
        os.set_blocking(waker, False)

        def hand_over(frames: list[Frame]) -> None:
            while not room.acquire(timeout=0.1):
                if stop.is_set():
                    return
            loop.call_soon_threadsafe(inbox.put_nowait, frames)

        self._outbox.wake = lambda: _wake(waker)
        threads = ThreadPoolExecutor(1, thread_name_prefix=f"serial {self.name}")
        working = loop.run_in_executor(threads, self._work, hand_over, woken, stop)
        # an empty batch ends the loop below if the thread dies, which only an error of ours can bring about
        working.add_done_callback(lambda _: inbox.put_nowait([]))
        try:
            while frames := await inbox.get():
                room.release()
                for frame in frames:
                    deliver(frame)
        finally:
            for bay in self._bays:
                self._outbox.unkey(bay)
            stop.set()
            _wake(waker)
            try:
                await working
            finally:
                threads.shutdown()
                self._outbox.wake = nobody
                os.close(woken)
                os.close(waker)

    # on the thread -----------------------------------------------------------------------------------------------

    def _work(self, hand_over: Callable[[list[Frame]], None], woken: int, stop: threading.Event) -> None:
        backoff = Backoff()
        while not stop.is_set():
            began_s = time.monotonic()
            try:
                with self._open() as port:
                    Session(self._port, port.fileno(), self._outbox, self._clock).run(
                        self._frames_of(), hand_over, woken, stop
                    )
            except LinkFailed as err:
                self.stats.last_error = str(err)
            finally:
                self.stats.connected = False
            if time.monotonic() - began_s > LONGEST_S:
                backoff.reset()
            stop.wait(backoff.wait_s())

    def _open(self) -> serial.Serial:
        try:
            port = serial.Serial(self._port, self._baud, exclusive=True)
        except (OSError, termios.error, ValueError) as err:
            held = getattr(err, "errno", None) in (errno.EAGAIN, errno.EBUSY)
            raise LinkFailed(self._port, "another program or link holds this port" if held else _why(err)) from err
        self.stats.connected = True
        self.stats.connects += 1
        return port

    def _frames_of(self) -> Callable[[bytes], list[Frame]]:
        """Chunks of one connection -> Frames; counts what is dropped."""
        splitter = LineSplitter()
        joining = True

        def frames_of(chunk: bytes) -> list[Frame]:
            nonlocal joining
            frames = []
            too_long = splitter.too_long
            for line in splitter.feed(chunk):
                # who joins in the middle of a line hears a fragment first: that is no fault of the line
                if not joining or line.startswith(b"["):
                    frames += self._line(line)
                joining = False
            if splitter.too_long > too_long:
                self.stats.refused += splitter.too_long - too_long
                self.stats.last_error = f"a line of more than {LINE_LIMIT_BYTES} bytes"
            return frames

        return frames_of

    def _line(self, line: bytes) -> list[Frame]:
        try:
            pack = open_line(line, self._crc)
        except LineRefused as err:
            self.stats.crc_failures += 1
            self.stats.last_error = str(err)
            return []
        return self._intake.feed(pack, self._clock(), self._wall_ns())


def _wake(waker: int) -> None:
    with suppress(BlockingIOError):  # a full pipe wakes as well
        os.write(waker, b"x")


def _why(err: Exception) -> str:
    # pyserial wraps what the system said in the port's name, twice
    number = getattr(err, "errno", None)
    return os.strerror(number) if isinstance(number, int) else str(err)
