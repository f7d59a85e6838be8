"""What goes between daemon and the process that writes its store: a length in four bytes, then that many bytes."""

import os
from collections.abc import Sequence
from struct import Struct
from typing import IO, Any

import msgspec

from daemon.store.items import (
    AlertChanged,
    AlertIdsTaken,
    FindingKept,
    Item,
    JobEnded,
    JobSealed,
    JobStarted,
    JobWaits,
)
from sensors.types import Frame

_KINDS: tuple[type[Any], ...] = (
    Frame,
    JobStarted,
    JobEnded,
    JobWaits,
    FindingKept,
    AlertChanged,
    AlertIdsTaken,
    JobSealed,
)
_NUMBER = {kind: number for number, kind in enumerate(_KINDS)}
_DECODERS = tuple(msgspec.msgpack.Decoder(kind) for kind in _KINDS)
_length = Struct(">I")
_encode = msgspec.msgpack.Encoder().encode
_decode_parcel = msgspec.msgpack.Decoder(list[tuple[int, msgspec.Raw]]).decode


class Begin(msgspec.Struct):
    """The first of all: jobs whose frames are still to come; ``again``: the next parcel may have been kept already."""

    running: list[JobStarted]
    again: bool


class Said(msgspec.Struct):
    """The answer to a parcel: what keeps it from being kept, empty once it is; and what could never be, so far."""

    trouble: str = ""
    unfit: int = 0
    unfit_why: str = ""


def encode_begin(begin: Begin) -> bytes:
    """For the pipe."""
    return _encode(begin)


decode_begin = msgspec.msgpack.Decoder(Begin).decode
decode_said = msgspec.msgpack.Decoder(Said).decode


def encode_said(said: Said) -> bytes:
    """For the pipe."""
    return _encode(said)


def parcel(items: Sequence[Item]) -> tuple[bytes, list[str]]:
    """Items as one parcel, never empty; and why each of those that can't be sent can't.

    One after the other, so that the interpreter's lock is free again within microseconds.
    """
    pieces: list[tuple[int, msgspec.Raw]] = []
    refused: list[str] = []
    for item in items:
        try:
            pieces.append((_NUMBER[type(item)], msgspec.Raw(_encode(item))))
        except (OverflowError, TypeError, ValueError) as err:
            refused.append(str(err))
    return _encode(pieces), refused


def items_of(data: bytes) -> list[Item]:
    """What a parcel holds."""
    return [_DECODERS[kind].decode(raw) for kind, raw in _decode_parcel(data)]


def send_parcel(pipe: IO[bytes], data: bytes) -> None:
    """Raises OSError."""
    rest = memoryview(_length.pack(len(data)) + data)
    while rest:
        rest = rest[os.write(pipe.fileno(), rest) :]


def read_parcel(pipe: IO[bytes]) -> bytes:
    """The next one; raises EOFError where the other side has ended."""
    (size,) = _length.unpack(_exactly(pipe.fileno(), _length.size))
    return _exactly(pipe.fileno(), size)


def _exactly(fd: int, size: int) -> bytes:
    data = bytearray()
    while len(data) < size:
        piece = os.read(fd, size - len(data))
        if not piece:
            raise EOFError
        data += piece
    return bytes(data)
