"""The serial link: nodes on one port, lines with CRC, reconnecting after the plug was pulled."""

import asyncio
import errno
import os
import termios
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor

import serial

from sensors.backoff import LONGEST_S, Backoff
from sensors.errors import LineRefused, LinkFailed
from sensors.framing import LINE_LIMIT_BYTES, LineSplitter, open_line
from sensors.intake import Intake, Observe
from sensors.outbox import Outbox
from sensors.serial_session import Session
from sensors.types import Clock, Frame, LinkStats
from sensors.wiring import Wiring


class SerialLink:
    """One serial port and the bays behind it; a Link (sensors/types.py).

    ``port`` is opened anew by its path after each loss, so a symlink that a replugged device gets back is followed.
    The port is held exclusively. It is read in chunks and written on the event loop, never waiting: beside a thread a
    port, 32 of them, an unkey waited for the interpreter's lock for milliseconds at every hand-over (measured).
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
        backoff = Backoff()
        # opening and closing may take their time (a port that does not drain), so a thread does them
        thread = ThreadPoolExecutor(1, thread_name_prefix=f"serial {self.name}")
        try:
            while True:
                began_s = time.monotonic()
                try:
                    await self._connection(thread, deliver)
                except LinkFailed as err:
                    self.stats.last_error = str(err)
                if time.monotonic() - began_s > LONGEST_S:
                    backoff.reset()
                await asyncio.sleep(backoff.wait_s())
        finally:
            for bay in self._bays:
                self._outbox.unkey(bay)
            thread.shutdown(wait=False)

    async def _connection(self, thread: ThreadPoolExecutor, deliver: Callable[[Frame], None]) -> None:
        """One connection, until it is lost: raises LinkFailed."""
        opening = thread.submit(self._open)
        try:
            port = await asyncio.wrap_future(opening)
        except asyncio.CancelledError:
            # a port that opens all the same is let go of again
            opening.add_done_callback(_close)
            raise
        self.stats.connected = True
        self.stats.connects += 1
        frames_of = self._frames_of()

        def take(chunk: bytes) -> None:
            for frame in frames_of(chunk):
                deliver(frame)

        try:
            await Session(self._port, port.fileno(), self._outbox, self._clock, take).run(self._bays)
        finally:
            self.stats.connected = False
            thread.submit(port.close)

    def _open(self) -> serial.Serial:
        try:
            port = serial.Serial(self._port, self._baud, exclusive=True)
        except (OSError, termios.error, ValueError) as err:
            held = getattr(err, "errno", None) in (errno.EAGAIN, errno.EBUSY)
            raise LinkFailed(self._port, "another program or link holds this port" if held else _why(err)) from err
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


def _close(opened: "Future[serial.Serial]") -> None:
    if not opened.cancelled() and opened.exception() is None:
        opened.result().close()


def _why(err: Exception) -> str:
    # pyserial wraps what the system said in the port's name, twice
    number = getattr(err, "errno", None)
    return os.strerror(number) if isinstance(number, int) else str(err)
