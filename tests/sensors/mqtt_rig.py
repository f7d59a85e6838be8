"""An MQTT link of tests, its nodes, and an ear for what is published."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Coroutine
from contextlib import asynccontextmanager, suppress
from typing import TYPE_CHECKING

import aiomqtt
import pytest

from sensors.mqtt_link import MqttLink
from sensors.senml import encode
from sensors.types import Frame

if TYPE_CHECKING:
    from tests.conftest import Broker

NODES = {"bay-5": "node-a", "bay-6": "node-b"}


async def until(true: Callable[[], object], what: str, timeout_s: float = 15.0) -> None:
    """Wait for something to become true; fails with its name."""
    try:
        async with asyncio.timeout(timeout_s):
            while not true():  # noqa: ASYNC110  what is waited for is outside, and tells no event
                await asyncio.sleep(0.002)
    except TimeoutError:
        pytest.fail(f"did not come true within {timeout_s} s: {what}")


def play(scenario: Coroutine[None, None, None]) -> None:
    """Run a scenario; no task may be left when it is over."""

    async def whole() -> None:
        await scenario
        await until(lambda: len(asyncio.all_tasks()) == 1, "all tasks have ended", 2.0)

    asyncio.run(whole())


@asynccontextmanager
async def running(link: MqttLink) -> AsyncIterator[list[Frame]]:
    """The link running, and the frames that it delivers."""
    frames: list[Frame] = []
    task = asyncio.create_task(link.run(frames.append))
    try:
        yield frames
    finally:
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task


def link_to(broker: Broker, port: int | None = None) -> MqttLink:
    """A link to two nodes of the rack "hut"."""
    return MqttLink("broker", broker.host, port or broker.port, "hut", NODES, {"bay-5": {}, "bay-6": {}})


class Node:
    """A node's client, with a last will; it keeps what it could not publish, as a node with QoS 1 does."""

    def __init__(self, broker: Broker, node: str) -> None:
        self._broker, self._topic = broker, f"keysoak/hut/{node}"
        self._client: aiomqtt.Client | None = None
        self._node = node

    def client(self) -> aiomqtt.Client:
        """A client with this node's name and will."""
        return aiomqtt.Client(
            self._broker.host,
            self._broker.port,
            identifier=self._node,
            will=aiomqtt.Will(f"{self._topic}/presence", b"offline", qos=1, retain=True),
            timeout=3.0,
        )

    async def publish_all(self, packs: list[bytes], each: Callable[[int], object] = lambda i: None) -> None:
        """Publish every pack at QoS 1 over as many connections as it takes; ``each(i)`` is called before the i-th."""
        done = 0
        while done < len(packs):
            with suppress(aiomqtt.MqttError):
                async with self.client() as client:
                    lost = client._disconnected  # else asyncio complains that nobody asked it why
                    lost.add_done_callback(lambda lost: lost.cancelled() or lost.exception())
                    while done < len(packs):
                        each(done)
                        await client.publish(f"{self._topic}/readings", packs[done], qos=1)
                        done += 1
            await asyncio.sleep(0.02)


def pack(seq: int, bay: str = "bay-5") -> bytes:
    """One pack of one channel."""
    return encode(bay, 1764054000 + seq / 2, [("heatsink", "Cel", 40 + seq / 100)], seq)


async def say(broker: Broker, topic: str, payload: bytes, retain: bool = False) -> None:
    """Publish one message."""
    async with aiomqtt.Client(broker.host, broker.port) as client:
        await client.publish(topic, payload, qos=1, retain=retain)


@asynccontextmanager
async def keys(broker: Broker) -> AsyncIterator[list[aiomqtt.Message]]:
    """All that is published to any node's key."""
    heard: list[aiomqtt.Message] = []

    async def listen(client: aiomqtt.Client) -> None:
        async for message in client.messages:
            heard.append(message)

    async with aiomqtt.Client(broker.host, broker.port) as client:
        await client.subscribe("keysoak/+/+/key", qos=1)
        task = asyncio.create_task(listen(client))
        try:
            yield heard
        finally:
            task.cancel()
            with suppress(asyncio.CancelledError):
                await task
