"""Many light nodes in one process for the unkey bench: canned packs, and when the unkey came after the telling one.

    python -m tests.bench.unkey_nodes '{"hz": 10, "hot": 2, "rest_s": [2, 4], "bays": {"bay-1": "PTY or broker port"}}'

A node that is keyed sends, after a random while, ``hot`` packs with too much current; the last of them is the
telling pack. Its time is taken just before the write that puts its last byte on the wire, that of the unkey just
after the read that brings it. A sample is printed as a JSON line.
"""

# ruff: noqa: T201  what is printed is the answer
import contextlib
import json
import os
import random
import select
import signal
import socket
import struct
import sys
import time
import tty
import zlib
from abc import ABC, abstractmethod
from collections.abc import Callable
from pathlib import Path
from types import FrameType

#: over the limit of one device, and of the total
HOT_A = b"5.753"
#: what the floor's bare loops look for
TELLING = b'"v":' + HOT_A
_UNKEY, _KEY = b'"n":"key","vb":false', b'"n":"key","vb":true'
GIVE_UP_S = 5.0
#: these nodes go before all else on the machine (``unkey_children.MACHINE``): when they themselves are as late as
#: this, it stood still (a host that took its processors, a kernel that did not let go): no daemon on it could act
STALL_S = 0.005

clock = time.monotonic  # CLOCK_MONOTONIC: one clock for all processes of this machine


class Wire(ABC):
    """One node's way out and in; a pack goes out whole, by one write."""

    fd: int

    @abstractmethod
    def put(self, pack: bytes) -> float:
        """Send a pack; the time just before its bytes were on the wire."""

    @abstractmethod
    def take(self) -> list[bytes]:
        """The messages that have come."""


class Line(Wire):
    """A pseudo-terminal's master side, raw; ``path`` becomes a link to the other side."""

    def __init__(self, path: Path) -> None:
        self.fd, self._other = os.openpty()
        tty.setraw(self._other)
        path.unlink(missing_ok=True)
        path.symlink_to(os.ttyname(self._other))
        os.set_blocking(self.fd, False)
        self._rest = b""

    def put(self, pack: bytes) -> float:
        line = b"%s %08x\n" % (pack, zlib.crc32(pack))
        at_s = clock()
        with contextlib.suppress(BlockingIOError):  # nobody reads: a real line would lose it too
            os.write(self.fd, line)
        return at_s

    def take(self) -> list[bytes]:
        *lines, self._rest = (self._rest + os.read(self.fd, 65536)).split(b"\n")
        return lines


class Topic(Wire):
    """A bare MQTT 3.1.1 session of one node, QoS 1 both ways, one packet a write."""

    def __init__(self, broker: int, node: str) -> None:
        self._socket = socket.create_connection(("127.0.0.1", broker))
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.fd = self._socket.fileno()
        self._readings = _text(f"keysoak/rack-1/{node}/readings".encode())
        self._mid = 0
        self._rest = b""
        # CONNECT (clean session, keepalive 60 s) and SUBSCRIBE (MQTT 3.1.1 sections 3.1, 3.8)
        self._socket.sendall(_packet(0x10, _text(b"MQTT") + b"\x04\x02" + struct.pack(">H", 60) + _text(node.encode())))
        self._socket.recv(4)
        topic = _text(f"keysoak/rack-1/{node}/key".encode())
        self._socket.sendall(_packet(0x82, b"\x00\x01" + topic + b"\x01"))
        self._socket.recv(5)

    def put(self, pack: bytes) -> float:
        self._mid = self._mid % 65535 + 1
        whole = _packet(0x32, self._readings + struct.pack(">H", self._mid) + pack)
        at_s = clock()
        self._socket.sendall(whole)
        return at_s

    def take(self) -> list[bytes]:
        data = self._rest + self._socket.recv(65536)
        found = []
        while len(data) >= 2:
            length, size = data[1] & 0x7F, 2
            if data[1] & 0x80:
                if len(data) < 3:
                    break
                length, size = length + (data[2] << 7), 3
            if len(data) < size + length:
                break
            kind, body, data = data[0], data[size : size + length], data[size + length :]
            if kind & 0xF0 == 0x30:
                end = 2 + struct.unpack_from(">H", body)[0]
                if kind & 0x06:
                    self._socket.sendall(b"\x40\x02" + body[end : end + 2])
                    end += 2
                found.append(body[end:])
        self._rest = data
        return found


def _text(text: bytes) -> bytes:
    return struct.pack(">H", len(text)) + text


def _packet(kind: int, body: bytes) -> bytes:
    length = len(body)
    head = bytes([kind, length]) if length < 128 else bytes([kind, length & 0x7F | 0x80, length >> 7])
    return head + body


class Stalls:
    """When this process was last late."""

    def __init__(self) -> None:
        self._from_s = self._to_s = 0.0

    def look(self, due_s: float, now_s: float) -> None:
        """It was to run at ``due_s``, and does now."""
        if now_s - due_s > STALL_S:
            self._from_s, self._to_s = due_s, now_s

    def between(self, from_s: float, to_s: float) -> bool:
        """Whether it was late in this time."""
        return self._from_s <= to_s and self._to_s >= from_s


class Node:
    """One bay's node: nine channels at a steady pace."""

    def __init__(self, bay: str, wire: Wire, words: "Words", chance: random.Random, stalls: Stalls) -> None:
        self.bay, self.wire, self._words, self._chance = bay, wire, words, chance
        self._stalls = stalls
        self.due_s = clock() + chance.random() / words.hz
        self._seq = 0
        self._keyed = False
        self._tell_s = float("inf")
        self._hot = 0
        self._told_s = 0.0
        if words.echo:
            self._lent()

    def _lent(self) -> None:
        self._keyed, self._hot, self._told_s = True, 0, 0.0
        self._tell_s = clock() + self._chance.uniform(*self._words.rest_s)

    def send(self) -> None:
        """The pack of this instant."""
        self.due_s += 1 / self._words.hz
        now_s = clock()
        hot = self._keyed and now_s >= self._tell_s and self._hot < self._words.hot
        if hot:
            self._hot += 1
        at_s = self.wire.put(self._pack(hot))
        if hot and self._hot == self._words.hot:
            self._told_s = at_s
        if self._told_s and now_s - self._told_s > GIVE_UP_S:
            print(json.dumps({"bay": self.bay, "s": None, "odd": "no unkey"}), flush=True)
            self._lent()

    def _pack(self, hot: bool) -> bytes:
        self._seq += 1
        noise = self._seq % 7 * 0.01
        drain, forward, reflected = (1.9 + noise, 25 + noise, 0.05) if self._keyed else (0.0, 0.0, 0.0)
        amps = HOT_A if hot else b"%.3f" % drain
        return (
            b'[{"bn":"%s/","bt":%.6f,"n":"heatsink","u":"Cel","v":%.2f},{"n":"drain-1","u":"A","v":%s},'
            b'{"n":"drain-2","u":"A","v":%s},{"n":"supply","u":"V","v":%.3f},{"n":"forward","u":"W","v":%.3f},'
            b'{"n":"reflected","u":"W","v":%.3f},{"n":"load","u":"Cel","v":%.2f},{"n":"ambient","u":"Cel","v":%.2f},'
            b'{"n":"key","vb":%s},{"n":"seq","v":%d}]'
        ) % (
            self.bay.encode(), time.time(), 41 + noise, amps, amps, 13.7 + noise, forward, reflected, 60 + noise,
            22 + noise, b"true" if self._keyed else b"false", self._seq,
        )  # fmt: skip

    def hear(self) -> None:
        """Key packs that have come."""
        messages = self.wire.take()
        at_s = clock()
        for message in messages:
            if _KEY in message and not self._keyed:
                self._lent()
            elif _UNKEY in message and self._keyed:
                told_s = self._told_s
                said = {"bay": self.bay, "s": at_s - told_s if told_s else None, "odd": "unkeyed untold"}
                print(json.dumps(said | {"stall": self._stalls.between(told_s, at_s)}), flush=True)
                self._keyed, self._told_s = False, 0.0
                if self._words.echo:
                    self._lent()


class Words:
    """What the process was told to do; ``echo``: the floor, where nobody lends a key."""

    def __init__(self, text: str) -> None:
        told = json.loads(text)
        self.hz: float = told["hz"]
        self.hot: int = told["hot"]
        self.echo: bool = told.get("echo", False)
        self.rest_s: tuple[float, float] = tuple(told["rest_s"])
        self.bays: dict[str, str | int] = told["bays"]


def run(words: Words, over: Callable[[], bool]) -> None:
    """All nodes, until told to end."""
    chance = random.Random(1)
    poll = select.epoll()
    stalls = Stalls()
    nodes = {}
    for bay, where in words.bays.items():
        wire: Wire = Topic(where, f"node-{bay}") if isinstance(where, int) else Line(Path(where))
        nodes[wire.fd] = Node(bay, wire, words, chance, stalls)
        poll.register(wire.fd, select.EPOLLIN)
    print(json.dumps({"ready": len(nodes)}), flush=True)
    by_time = sorted(nodes.values(), key=lambda node: node.due_s)
    turn = 0
    while not over():
        # the phases of all nodes differ and their pace is one: they come in turn
        node = by_time[turn]
        while (left_s := node.due_s - clock()) > 0:
            heard = poll.poll(left_s)
            stalls.look(node.due_s, clock())
            for fd, _ in heard:
                nodes[fd].hear()
        node.send()
        turn = (turn + 1) % len(by_time)


def main() -> None:
    """Run until SIGTERM."""
    ended = False

    def end(_: int, __: FrameType | None) -> None:
        nonlocal ended
        ended = True

    signal.signal(signal.SIGTERM, end)
    run(Words(sys.argv[1]), lambda: ended)


if __name__ == "__main__":
    main()
