"""What comes over an MQTT link, through a real Mosquitto: packs, bad ones, retained ones, presence."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import TYPE_CHECKING

import aiomqtt
import pytest

from sensors.types import Frame
from tests.sensors.mqtt_rig import Node, link_to, pack, play, running, say, until

if TYPE_CHECKING:
    from tests.conftest import Broker

pytestmark = pytest.mark.usefixtures("nothing_left_running")


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
