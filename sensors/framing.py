"""Serial lines: a pack, one space, its CRC-32 in eight lower-case hex digits, LF (the contract)."""

import re
from zlib import crc32

from sensors.errors import LineRefused
from sensors.senml import PACK_LIMIT_BYTES

#: a space and eight hex digits
_TAIL_BYTES = 9
#: the longest line without its LF
LINE_LIMIT_BYTES = PACK_LIMIT_BYTES + _TAIL_BYTES

_TAIL = re.compile(rb" [0-9a-f]{8}")


def seal(pack: bytes) -> bytes:
    """The line that carries ``pack``: with its CRC-32 (IEEE 802.3, as in zlib) and its LF."""
    if b"\n" in pack:
        raise LineRefused("a pack on a serial line can't hold a line feed")
    return b"%b %08x\n" % (pack, crc32(pack))


def open_line(line: bytes, crc: bool = True) -> bytes:
    """The pack in ``line`` (without its LF).

    ``crc=False`` admits a line without one; a CRC that is there must fit all the same. Raises LineRefused.
    """
    tail = line[-_TAIL_BYTES:]
    if not _TAIL.fullmatch(tail):
        if crc:
            raise LineRefused("a line without a CRC")
        return line
    pack = line[:-_TAIL_BYTES]
    given, computed = int(tail, 16), crc32(pack)
    if given != computed:
        raise LineRefused(f"a line whose CRC is {given:08x} and should be {computed:08x}", given, computed)
    return pack


class LineSplitter:
    """Cuts a byte stream into lines; holds at most one line's worth of bytes, whatever comes.

    ``too_long`` counts the lines over the limit that were dropped up to their LF. Empty lines are passed over, so
    that a writer may send a LF first to end whatever a broken connection left half said.
    """

    def __init__(self, limit_bytes: int = LINE_LIMIT_BYTES) -> None:
        self.too_long = 0
        self._limit = limit_bytes
        self._held = bytearray()
        self._dropping = False

    def feed(self, chunk: bytes) -> list[bytes]:
        """The lines that ``chunk`` completes, without their LF."""
        *ended, rest = chunk.split(b"\n")
        lines = []
        for part in ended:
            self._take(part)
            if self._held and not self._dropping:
                lines.append(bytes(self._held))
            self.clear()
        self._take(rest)
        return lines

    def clear(self) -> None:
        """Forget a line that was begun."""
        self._held.clear()
        self._dropping = False

    def pending(self) -> bytes:
        """What has come of a line that has not ended."""
        return bytes(self._held)

    def _take(self, part: bytes) -> None:
        if self._dropping:
            return
        if len(self._held) + len(part) > self._limit:
            self.too_long += 1
            self._held.clear()
            self._dropping = True
        else:
            self._held += part
