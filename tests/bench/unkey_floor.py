"""The floor of the unkey bench: bare loops that answer each telling pack with the unkey, and do nothing else.

    python -m tests.bench.unkey_floor '{"bay-1": "PTY", "bay-33": 1883}'

pyserial with a thread a port, as anybody would write it; one aiomqtt client for all topics.
"""

# ruff: noqa: T201  what is printed is the answer
import asyncio
import json
import socket
import sys
import threading
import zlib

import aiomqtt
import serial

from tests.bench.unkey_nodes import TELLING


def answer(bay: str) -> bytes:
    """The unkey, as a pack."""
    return b'[{"bn":"%s/","n":"key","vb":false}]' % bay.encode()


def line(bay: str, port: str) -> None:
    """One port."""
    told = answer(bay)
    told = b"%s %08x\n" % (told, zlib.crc32(told))
    with serial.Serial(port, 115200, exclusive=True) as wire:
        while True:
            if TELLING in wire.read(wire.in_waiting or 1) + wire.read(wire.in_waiting):
                wire.write(told)


async def topics(bays: list[str], port: int) -> None:
    """All topics of one broker."""
    told = {f"keysoak/rack-1/node-{bay}/readings": (f"keysoak/rack-1/node-{bay}/key", answer(bay)) for bay in bays}
    options = [(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)]  # without it 40 ms is the least: no floor
    async with aiomqtt.Client("127.0.0.1", port, identifier="floor", socket_options=options) as client:
        await client.subscribe([(topic, 1) for topic in told])
        print("ready", flush=True)
        async for message in client.messages:
            assert isinstance(message.payload, bytes)
            if TELLING in message.payload:
                topic, pack = told[str(message.topic)]
                await client.publish(topic, pack, qos=1)


def main() -> None:
    """Run until killed."""
    bays: dict[str, str | int] = json.loads(sys.argv[1])
    for bay, where in bays.items():
        if isinstance(where, str):
            threading.Thread(target=line, args=(bay, where), daemon=True).start()
    brokers = {bay: where for bay, where in bays.items() if isinstance(where, int)}
    if brokers:
        asyncio.run(topics(list(brokers), next(iter(brokers.values()))))
    print("ready", flush=True)
    threading.Event().wait()


if __name__ == "__main__":
    main()
