"""Recordings (the contract): a text file, one SenML pack a line, absolute time; plain, .gz or .zst."""

import gzip
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import IO, Self

import zstandard

from sensors.errors import PackRefused, RecordingBroken
from sensors.intake import MARK, Intake
from sensors.senml import PACK_LIMIT_BYTES, RELATIVE_BELOW_S, Record, pack_of
from sensors.types import BOOLEANS, CHANNELS, UNITS, Frame, LinkStats, Quality
from sensors.wiring import Wiring

_CHUNK_BYTES = 1 << 18
#: a zstd block of 4 bytes may hold 128 KiB (RFC 8878 §3.1.1.2), so little is fed at once
_ZSTD_CHUNK_BYTES = 1 << 10
_ABSOLUTE_FROM_NS = int(RELATIVE_BELOW_S) * 10**9
_MISSING, _GOOD = Quality.MISSING, Quality.GOOD


def read(path: Path | str, wirings: Mapping[str, Wiring] | None = None) -> Iterator[Frame]:
    """The Frames of a recording, one pack after another, of whatever bays are in it; memory does not grow with it.

    ``clock_s`` of a Frame is its own time in Unix seconds: event time. Raises RecordingBroken at the first line that
    is no pack, at a last line cut short or an archive cut short, and for a file that can't be opened; all whole
    packs before it have been given out by then.
    """
    intake = Intake(wirings or {}, LinkStats(), any_bay=True)
    line = 0
    held = b""
    try:
        for chunk in _chunks(Path(path)):
            *packs, held = (held + chunk).split(b"\n")
            for pack in packs:
                line += 1
                if pack.strip():
                    yield from _frames(intake, pack)
            if len(held) > PACK_LIMIT_BYTES:
                line += 1
                raise PackRefused(f"a line of more than {PACK_LIMIT_BYTES} bytes")
        if held.strip():
            line += 1
            yield from _last(intake, held)
    except PackRefused as err:
        raise RecordingBroken(path, line, str(err)) from err
    except (OSError, EOFError, zlib.error, zstandard.ZstdError) as err:
        why = err.strerror if isinstance(err, OSError) and err.strerror else str(err)
        raise RecordingBroken(path, line, f"{why}; the last whole pack is in line {line}" if line else why) from err


def _frames(intake: Intake, pack: bytes) -> Iterator[Frame]:
    # a now of 0 leaves relative times below 2**28, where no absolute time can be
    for frame in intake.take(pack, 0.0, 0):
        if frame.time_ns < _ABSOLUTE_FROM_NS:
            raise PackRefused("a recording wants absolute times", frame.bay)
        frame.clock_s = frame.time_ns / 1e9
        yield frame


def _last(intake: Intake, pack: bytes) -> Iterator[Frame]:
    try:
        yield from _frames(intake, pack)
    except PackRefused as err:
        raise PackRefused(f"the recording ends in the middle of a line ({err})") from err


def _chunks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as raw:
        if path.suffix == ".zst":
            yield from _zstd_chunks(raw)
        else:
            stream = gzip.GzipFile(fileobj=raw) if path.suffix == ".gz" else raw
            # read1: of an archive cut short, what came before the cut is given out
            while chunk := stream.read1(_CHUNK_BYTES):
                yield chunk


def _zstd_chunks(raw: IO[bytes]) -> Iterator[bytes]:
    # not stream_reader(): that takes an archive cut short for one that has ended
    codec = zstandard.ZstdDecompressor()
    frame = codec.decompressobj()
    begun = False
    while data := raw.read(_ZSTD_CHUNK_BYTES):
        while data:
            begun = True
            if chunk := frame.decompress(data):
                yield chunk
            data = b""
            if frame.eof:
                data, frame, begun = frame.unused_data, codec.decompressobj(), False
    if begun:
        raise EOFError("the archive is cut short")


class Writer:
    """Writes Frames as a recording that ``read`` gives back: values, times to the microsecond, seq, and qualities.

    SenML has no word for a channel without a value; a record ``<channel>.quality`` with a text keeps why there is
    none (other readers pass over the unknown name). Raises OSError as files do.
    """

    def __init__(self, path: Path | str) -> None:
        path = Path(path)
        self._raw = path.open("wb")
        self._out: IO[bytes] | gzip.GzipFile | zstandard.ZstdCompressionWriter
        if path.suffix == ".gz":
            # no name and no time in the header: the same frames give the same file
            self._out = gzip.GzipFile("", "wb", fileobj=self._raw, mtime=0)
        elif path.suffix == ".zst":
            self._out = zstandard.ZstdCompressor().stream_writer(self._raw, closefd=False)
        else:
            self._out = self._raw

    def write(self, frame: Frame) -> None:
        """One more line."""
        self._out.write(packed(frame) + b"\n")

    def close(self) -> None:
        """End the file; nothing may be written after."""
        self._out.close()
        self._raw.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None) -> None:
        self.close()


def packed(frame: Frame) -> bytes:
    """A Frame as one SenML pack in absolute time and engineering units."""
    records = []
    for channel, value, quality in zip(CHANNELS, frame.values, frame.quality, strict=True):
        if quality == _GOOD and channel in BOOLEANS:
            records.append(Record(n=channel, vb=value != 0))
        elif quality == _GOOD:
            records.append(Record(n=channel, u=UNITS[channel], v=value))
        elif quality != _MISSING:
            records.append(Record(n=channel + MARK, vs=Quality(quality).name.lower()))
    if not records:
        # a pack without a channel is no frame, and this one was
        records.append(Record(n=CHANNELS[0] + MARK, vs=Quality.MISSING.name.lower()))
    if frame.seq >= 0:
        records.append(Record(n="seq", v=frame.seq))
    records[0].bn = f"{frame.bay}/"
    records[0].bt = frame.time_ns / 1e9
    return pack_of(records)
