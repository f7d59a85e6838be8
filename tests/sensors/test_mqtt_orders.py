"""Loans and unkeys through a real Mosquitto: to their own node, never late, told again."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import TYPE_CHECKING

import aiomqtt
import pytest

from sensors.lease import key_pack
from tests.sensors.mqtt_rig import NODES, keys, link_to, play, running, say, until

if TYPE_CHECKING:
    from tests.conftest import Broker

pytestmark = pytest.mark.usefixtures("nothing_left_running")


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
