"""The MQTT link through a real Mosquitto: what a broker's death, a node's death and a late loan do to it."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Coroutine
from contextlib import asynccontextmanager, suppress
from typing import TYPE_CHECKING, Any

import aiomqtt
import pytest

from sensors.lease import key_pack
from sensors.mqtt_link import MqttLink
from sensors.senml import encode
from sensors.types import Frame

if TYPE_CHECKING:
    from tests.conftest import Broker

pytestmark = pytest.mark.usefixtures("nothing_left_running")

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


def test_packs_of_all_nodes_become_frames(mosquitto: Broker) -> None:
    async def scenario() -> None:
        link = link_to(mosquitto)
        async with running(link) as frames:
            await until(lambda: link.stats.connected, "connected")
            await Node(mosquitto, "node-a").publish_all([pack(seq) for seq in range(100)])
            await Node(mosquitto, "node-b").publish_all([pack(7, "bay-6")])
            await until(lambda: len(frames) == 101, "all frames")
        assert [f.seq for f in frames if f.bay == "bay-5"] == list(range(100))
        assert not link.stats.connected

    play(scenario())


def test_bad_packs_are_counted_and_the_next_one_is_taken(mosquitto: Broker) -> None:
    async def scenario() -> None:
        link = link_to(mosquitto)
        async with running(link) as frames:
            await until(lambda: link.stats.connected, "connected")
            bad = [
                b"",
                b'[{"bn":"bay-5/","n":"heatsink","u":"Cel","v":NaN}]',
                b"[" * (10 << 20),
                pack(1, "bay-6"),
                b'[{"bn":"bay-5/","n":"heatsink","u":"K","v":300}]',
            ]
            await Node(mosquitto, "node-a").publish_all([*bad, pack(0)])
            await until(lambda: len(frames) == 2, "the whole packs")
        assert (link.stats.refused, link.stats.strangers) == (3, 1)
        assert (link.stats.bays["bay-5"].refused, link.stats.bays["bay-6"].packs) == (1, 0)

    play(scenario())


def test_a_retained_pack_is_no_reading_of_now(mosquitto: Broker) -> None:
    async def scenario() -> None:
        await say(mosquitto, "keysoak/hut/node-a/readings", pack(0), retain=True)
        link = link_to(mosquitto)
        async with running(link) as frames:
            await until(lambda: link.stats.refused == 1, "the retained pack is refused")
            assert "retained" in link.stats.last_error
            assert frames == []

    play(scenario())


@pytest.mark.parametrize("end", ["stop", "kill"])
def test_a_broker_restart_loses_no_qos_1_pack(mosquitto: Broker, end: str) -> None:
    packs = [pack(seq) for seq in range(300)]

    async def scenario() -> None:
        link = link_to(mosquitto)

        def at(i: int) -> None:
            if i == 100 and not gone:
                gone.append(i)
                getattr(mosquitto, end)()

        async def restart() -> None:
            await until(lambda: gone and not link.stats.connected, "the loss is noticed")
            await asyncio.to_thread(mosquitto.start)

        gone: list[int] = []
        async with running(link) as frames:
            await until(lambda: link.stats.connected, "connected")
            await asyncio.gather(Node(mosquitto, "node-a").publish_all(packs, at), restart())
            await until(lambda: len(frames) >= 300, "all frames")
        stats = link.stats.bays["bay-5"]
        assert [f.seq for f in frames] == list(range(300))
        assert (stats.lost, stats.restarts) == (0, 0)
        assert link.stats.connects == 2

    play(scenario())


def test_packs_published_while_the_link_is_away_and_the_broker_is_killed_all_arrive(mosquitto: Broker) -> None:
    async def scenario() -> None:
        async with running(link := link_to(mosquitto)):
            await until(lambda: link.stats.connected, "connected, and so a session is kept for it")
        await Node(mosquitto, "node-a").publish_all([pack(seq) for seq in range(100)])
        await asyncio.to_thread(mosquitto.stop)
        await asyncio.to_thread(mosquitto.start)
        async with running(link := link_to(mosquitto)) as frames:
            await until(lambda: len(frames) == 100, "all frames")
        assert [f.seq for f in frames] == list(range(100))

    play(scenario())


def test_presence_follows_the_node_and_its_last_will(mosquitto: Broker) -> None:
    async def scenario() -> None:
        link = link_to(mosquitto)
        seen = link.stats.bays["bay-5"]
        assert seen.presence == "unknown"
        async with running(link):
            async with Node(mosquitto, "node-a").client() as node:
                await node.publish("keysoak/hut/node-a/presence", b"online", qos=1, retain=True)
                await until(lambda: seen.presence == "online", "online")
                node._client.socket().shutdown(2)  # type: ignore[union-attr]  # a node that dies
                await until(lambda: seen.presence == "offline", "the will")
                with suppress(aiomqtt.MqttError):
                    await node.publish("keysoak/hut/node-a/presence", b"x")
            assert link.stats.bays["bay-6"].presence == "unknown"
        async with running(again := link_to(mosquitto)):
            await until(lambda: again.stats.bays["bay-5"].presence == "offline", "presence is retained")

    play(scenario())


def test_presence_is_unknown_while_the_broker_is_away(mosquitto: Broker) -> None:
    async def scenario() -> None:
        await say(mosquitto, "keysoak/hut/node-a/presence", b"online", retain=True)
        link = link_to(mosquitto)
        async with running(link):
            await until(lambda: link.stats.bays["bay-5"].presence == "online", "online")
            mosquitto.kill()
            await until(lambda: link.stats.bays["bay-5"].presence == "unknown", "unknown")
            await asyncio.to_thread(mosquitto.start)
            await until(lambda: link.stats.bays["bay-5"].presence == "online", "online again")

    play(scenario())


def test_key_packs_go_to_the_bays_own_node_and_are_never_retained(mosquitto: Broker) -> None:
    async def scenario() -> None:
        link = link_to(mosquitto)
        async with running(link), keys(mosquitto) as heard:
            await until(lambda: link.stats.connected, "connected")
            link.lend("bay-6", 3.0, tone=False)
            await until(lambda: len(heard) == 1, "the loan")
            link.unkey("bay-5")
            await until(lambda: len(heard) == 2, "the unkey")
            link.cut("bay-5", True)
            await until(lambda: len(heard) == 3, "the cut")
        assert [(str(m.topic), m.payload, m.qos) for m in heard] == [
            ("keysoak/hut/node-b/key", key_pack("bay-6", 3.0, True, tone=False), 0),
            ("keysoak/hut/node-a/key", key_pack("bay-5", 0, False), 1),
            ("keysoak/hut/node-a/key", key_pack("bay-5", 0, False, cut=True), 1),
        ]
        async with keys(mosquitto) as late:
            await say(mosquitto, "keysoak/hut/node-a/key", b"mark")
            await until(lambda: late, "the mark")
        assert [m.payload for m in late] == [b"mark"]

    play(scenario())


def test_a_loan_never_waits_at_the_broker_for_a_node_that_is_away(mosquitto: Broker) -> None:
    async def scenario() -> None:
        def node() -> aiomqtt.Client:
            # a careless node: a persistent session, and QoS 1 on its key
            return aiomqtt.Client(mosquitto.host, mosquitto.port, identifier="node-a", clean_session=False)

        async with node() as client:
            await client.subscribe("keysoak/hut/node-a/key", qos=1)
        link = link_to(mosquitto)
        async with running(link), keys(mosquitto) as heard:
            await until(lambda: link.stats.connected, "connected")
            link.lend("bay-5", 3.0)
            await until(lambda: len(heard) == 1, "the loan was told")
            link.unkey("bay-5")
            await until(lambda: len(heard) == 2, "the unkey was told")
            async with node() as client, asyncio.timeout(5):
                first = await anext(aiter(client.messages))
        assert first.payload == key_pack("bay-5", 0, False)

    play(scenario())


def test_an_unkey_overtakes_the_renewals_that_wait_for_the_broker(mosquitto: Broker) -> None:
    async def scenario() -> None:
        link = link_to(mosquitto)
        link.lend("bay-5", 30.0)
        link.lend("bay-6", 30.0)
        link.unkey("bay-6")
        async with keys(mosquitto) as heard, running(link):
            await until(lambda: len(heard) == 2, "both orders")
            assert heard[0].payload == key_pack("bay-6", 0, False)
            assert b'"bay-5/"' in heard[1].payload

    play(scenario())


def test_an_unkey_asked_for_while_the_broker_is_away_is_told_when_it_is_back(mosquitto: Broker) -> None:
    async def scenario() -> None:
        link = link_to(mosquitto)
        heard: list[object] = []

        async def node() -> None:
            while True:
                with suppress(aiomqtt.MqttError):
                    async with aiomqtt.Client(mosquitto.host, mosquitto.port, identifier="n", clean_session=False) as c:
                        await c.subscribe("keysoak/hut/node-a/key", qos=1)
                        async for message in c.messages:
                            heard.append(message.payload)
                await asyncio.sleep(0.02)

        def lent() -> list[object]:
            # again and again: a loan goes at QoS 0, and one that comes before the node listens is not heard
            link.lend("bay-5", 3.0)
            return heard

        listening = asyncio.create_task(node())
        async with running(link):
            await until(lambda: link.stats.connected, "connected")
            await until(lent, "a loan, and so the node listens")
            mosquitto.stop()
            link.unkey("bay-5")
            await asyncio.to_thread(mosquitto.start)
            await until(lambda: key_pack("bay-5", 0, False) in heard, "the unkey")
        listening.cancel()
        with suppress(asyncio.CancelledError):
            await listening

    play(scenario())


def test_a_link_that_ends_unkeys_all_its_bays(mosquitto: Broker) -> None:
    async def scenario() -> None:
        async with keys(mosquitto) as heard:
            link = link_to(mosquitto)
            async with running(link):
                await until(lambda: link.stats.connected, "connected")
            await until(lambda: len(heard) == 2, "both unkeys")
            assert {m.payload for m in heard} == {key_pack(bay, 0, False) for bay in NODES}

    play(scenario())


def test_a_broker_that_is_not_there_is_told_and_used_when_it_comes(mosquitto: Broker) -> None:
    async def scenario() -> None:
        mosquitto.stop()
        link = link_to(mosquitto)
        async with running(link):
            await until(lambda: f":{mosquitto.port}: " in link.stats.last_error, "why it is not connected")
            await asyncio.to_thread(mosquitto.start)
            await until(lambda: link.stats.connected, "connected")

    play(scenario())


def test_an_error_in_what_is_delivered_to_comes_out_of_the_link(mosquitto: Broker) -> None:
    async def scenario() -> None:
        link = link_to(mosquitto)

        def broken(frame: Frame) -> None:
            raise RuntimeError("a bug")

        task = asyncio.create_task(link.run(broken))
        await until(lambda: link.stats.connected, "connected")
        await say(mosquitto, "keysoak/hut/node-a/readings", pack(0))
        with pytest.raises(RuntimeError, match="a bug"):
            await task

    play(scenario())


@pytest.mark.parametrize("stop_at", [1, 7, 23])
def test_a_link_that_is_stopped_in_a_burst_has_delivered_all_that_it_acknowledged(
    mosquitto: Broker, stop_at: int
) -> None:
    """What it has not taken yet the broker keeps for the next link of this name."""

    async def scenario() -> None:
        link = link_to(mosquitto)
        async with running(link):
            await until(lambda: link.stats.connected, "the broker knows the session")
        await Node(mosquitto, "node-a").publish_all([pack(seq) for seq in range(200)])
        seqs: list[int] = []

        def deliver(frame: Frame) -> None:
            seqs.append(frame.seq)
            if len(seqs) == stop_at:
                run.cancel()

        run = asyncio.create_task(link_to(mosquitto).run(deliver))
        with pytest.raises(asyncio.CancelledError):
            await run
        async with running(link_to(mosquitto)) as frames:
            await until(lambda: 199 in seqs or (frames and frames[-1].seq == 199), "the last pack")
        assert sorted({*seqs, *(frame.seq for frame in frames)}) == list(range(200))

    play(scenario())


def test_a_link_that_is_stopped_as_the_broker_answers_ends(mosquitto: Broker, monkeypatch: pytest.MonkeyPatch) -> None:
    """A cancellation that comes in the same instant as what is waited for is not forgotten."""

    async def scenario() -> None:
        heard = aiomqtt.Client._on_subscribe
        run = asyncio.create_task(link_to(mosquitto).run(lambda frame: None))

        def hear(*words: Any) -> None:
            heard(*words)
            run.cancel()

        monkeypatch.setattr(aiomqtt.Client, "_on_subscribe", hear)
        await asyncio.wait([run], timeout=5)
        monkeypatch.undo()
        assert run.cancelled()

    play(scenario())
