"""A broker that dies, is away or answers late, and a link that is stopped meanwhile: no pack is lost."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

import aiomqtt
import pytest

from sensors.types import Frame
from tests.sensors.mqtt_rig import Node, link_to, pack, play, running, say, until

if TYPE_CHECKING:
    from tests.conftest import Broker

pytestmark = pytest.mark.usefixtures("nothing_left_running")


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


def test_a_broker_that_is_not_there_is_told_and_used_when_it_comes(mosquitto: Broker) -> None:
    async def scenario() -> None:
        mosquitto.stop()
        link = link_to(mosquitto)
        async with running(link):
            await until(lambda: f":{mosquitto.port}: " in link.stats.last_error, "why it is not connected")
            await asyncio.to_thread(mosquitto.start)
            await until(lambda: link.stats.connected, "connected")

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
