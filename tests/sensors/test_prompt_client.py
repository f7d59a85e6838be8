"""What an MQTT client is given to say is written in the loop's next turn, and later where there is no room."""

from __future__ import annotations

import asyncio
import contextlib
import selectors
import signal
import socket
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import aiomqtt
import pytest

from sensors.prompt_client import PromptClient
from tests.sensors.mqtt_rig import until

if TYPE_CHECKING:
    from tests.conftest import Broker


#: so that a broker that does not read is felt soon
SMALL = [(socket.SOL_SOCKET, socket.SO_SNDBUF, 8192)]


class Counting(asyncio.SelectorEventLoop):
    """A loop that counts how often it was to wait for room on a socket."""

    def __init__(self) -> None:
        super().__init__(selectors.DefaultSelector())
        self.waits = 0

    def add_writer(self, fd: Any, callback: Any, *words: Any) -> None:  # type: ignore[override]
        """As ever, counted."""
        self.waits += 1
        super().add_writer(fd, callback, *words)


@contextlib.contextmanager
def stopped(broker: Broker) -> Iterator[None]:
    """A broker that takes nothing for a while."""
    assert broker._child is not None
    broker._child.send_signal(signal.SIGSTOP)
    try:
        yield
    finally:
        broker._child.send_signal(signal.SIGCONT)


def test_messages_and_acknowledgements_wait_for_no_readiness(mosquitto: Broker) -> None:
    """Thirty of each way, at QoS 1: the loop never looks whether the socket can be written to."""

    async def scenario(loop: Counting) -> None:
        heard: list[bytes] = []
        async with PromptClient(mosquitto.host, mosquitto.port) as client:
            await client.subscribe("say/+", qos=1)
            connected = loop.waits
            for i in range(30):
                await client.publish(f"say/{i}", b"%d" % i, qos=1)
            async for message in client.messages:
                assert isinstance(message.payload, bytes)
                heard.append(message.payload)
                if len(heard) == 30:
                    break
            assert loop.waits == connected
        assert heard == [b"%d" % i for i in range(30)]

    with asyncio.Runner(loop_factory=Counting) as runner:
        loop = runner.get_loop()
        assert isinstance(loop, Counting)
        runner.run(scenario(loop))


def test_what_finds_no_room_is_written_once_there_is(mosquitto: Broker) -> None:
    """A broker that stands still takes less than a megabyte; all comes whole and in order when it goes on."""
    size, count = 1 << 17, 12

    async def scenario(loop: Counting) -> None:
        async with (
            PromptClient(mosquitto.host, mosquitto.port, timeout=30.0, socket_options=SMALL) as client,
            PromptClient(mosquitto.host, mosquitto.port) as ear,
        ):
            await ear.subscribe("large/+", qos=0)
            connected = loop.waits
            with stopped(mosquitto):
                saying = [
                    asyncio.create_task(client.publish(f"large/{i}", bytes([i]) * size, qos=1)) for i in range(count)
                ]
                await until(lambda: loop.waits > connected, "that there is no room")
                saying.append(asyncio.create_task(client.publish("large/loan", b"loan", qos=0)))
            await asyncio.gather(*saying)
            heard: list[bytes] = []
            async for message in ear.messages:
                assert isinstance(message.payload, bytes)
                heard.append(message.payload)
                if len(heard) == count + 1:
                    break
        heard.remove(b"loan")
        assert heard == [bytes([i]) * size for i in range(count)]

    with asyncio.Runner(loop_factory=Counting) as runner:
        loop = runner.get_loop()
        assert isinstance(loop, Counting)
        runner.run(scenario(loop))


def test_a_connection_that_is_lost_in_a_write_is_an_error_of_the_library_s_own(mosquitto: Broker) -> None:
    """The broker is killed: who publishes hears of it, and the client ends."""

    async def scenario() -> None:
        async with PromptClient(mosquitto.host, mosquitto.port, timeout=3.0) as client:
            mosquitto.kill()
            for i in range(50):
                await client.publish("say/x", b"%d" % i, qos=0)
                await asyncio.sleep(0.01)

    with pytest.raises(aiomqtt.MqttError):
        asyncio.run(scenario())
