"""The twin's ports and its real-time unit, inside this process: overruns, and what real time costs."""

import asyncio
import contextlib
import os
import socket
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import aiomqtt
import pytest

from sensors.errors import LineRefused
from sensors.framing import LineSplitter, open_line
from sensors.lease import key_pack
from sensors.senml import decode, encode
from sensors.twin.ports import MqttPort, SerialPort
from sensors.twin.process import Unit
from sensors.twin.spec import Broker, UnitSpec


def test_a_line_that_nobody_reads_loses_the_oldest(tmp_path: Path) -> None:
    """Whoever opens the port late gets the newest packs whole, and the node was never held up."""

    async def scenario() -> tuple[int, list[bytes]]:
        port = SerialPort(tmp_path / "line", lambda pack: None, lambda event, what: None)
        port.plug()
        seq = 0

        def send() -> None:
            nonlocal seq
            port.send(encode("bay-1", 1.764e9 + seq, [("heatsink", "Cel", 20.0)], seq=seq))
            seq += 1

        reader = os.open(tmp_path / "line", os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        splitter = LineSplitter()
        lines: list[bytes] = []
        send()
        lines += splitter.feed(os.read(reader, 10))  # it holds half a line when the queue overruns
        while port.overruns < 3 and seq < 100_000:
            send()
        kept_from = seq - 1
        for _ in range(100):
            with contextlib.suppress(BlockingIOError):
                while True:
                    lines += splitter.feed(os.read(reader, 65536))
            send()
            await asyncio.sleep(0)
        os.close(reader)
        port.unplug()
        return kept_from, lines

    kept_from, lines = asyncio.run(scenario())
    seqs = []
    for line in lines:
        with contextlib.suppress(LineRefused):
            seqs.append(decode(open_line(line))[-1].v)
    assert len(lines) - len(seqs) <= 1
    # The pack that found the queue full is the first that is kept.
    newest = [seq for seq in seqs if isinstance(seq, float | int) and seq >= kept_from]
    assert newest[:90] == list(range(kept_from, kept_from + 90))


def test_real_time_follows_its_own_time_at_a_small_cost() -> None:
    """Of a second in which eight units at 2 Hz sample, look and hear, the twin's work takes well under 50 ms."""
    said: list[dict[str, object]] = []
    port = {"mqtt": {"port": 1, "rack": "r", "node": "n"}}
    units = [Unit(UnitSpec.model_validate({"bay": f"bay-{i}", "seed": i, "port": port}), said.append) for i in range(8)]
    start_s = max(u.node.clock_s for u in units)
    for u in units:
        u.node.hear(key_pack(u.spec.bay, 30.0, True, tone=True), start_s)
    began_s = time.process_time()
    for look in range(1, 501):  # ten seconds of 50 looks a second
        for u in units:
            u.node.advance(start_s + look * 0.02)
            if look % 25 == 0:
                u.port.send(u.node.pack(1.764e9 + look * 0.02))
    assert (time.process_time() - began_s) / 10.0 < 0.05


class Mosquitto:
    """A broker of our own on a free port, that keeps its sessions over a restart."""

    def __init__(self, folder: Path) -> None:
        with socket.create_server(("127.0.0.1", 0)) as probe:
            self.port = int(probe.getsockname()[1])
        self._conf = folder / "mosquitto.conf"
        # As root it would become another user, who may not write here; as anyone else the word is passed over.
        self._conf.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\n"
            f"persistence true\npersistence_location {folder}/\nuser root\n"
        )
        self.start()

    def start(self) -> None:
        self._child = subprocess.Popen(["/usr/sbin/mosquitto", "-c", str(self._conf)], stderr=subprocess.DEVNULL)

    def stop(self) -> None:
        self._child.terminate()
        self._child.wait(10.0)


async def collect(port: int, heard: list[float], listening: asyncio.Event) -> None:
    """Note every seq that comes, over any outage of the broker, in one session that the broker keeps."""
    while True:
        with contextlib.suppress(aiomqtt.MqttError):
            async with aiomqtt.Client("127.0.0.1", port, identifier="reader", clean_session=False) as client:
                await client.subscribe("keysoak/rack-1/node-1/readings", qos=1)
                listening.set()
                async for message in client.messages:
                    assert isinstance(message.payload, bytes)
                    seq = decode(message.payload)[-1].v
                    assert isinstance(seq, float | int)
                    heard.append(seq)
        await asyncio.sleep(0.05)


def test_a_broker_that_restarts_costs_a_node_no_pack(tmp_path: Path) -> None:
    """Packs of before, during and after the outage all arrive, in order but for repeats, and the node says so."""
    mosquitto = Mosquitto(tmp_path)

    async def scenario() -> tuple[list[float], list[str]]:
        heard: list[float] = []
        told: list[str] = []
        broker = Broker(port=mosquitto.port, rack="rack-1", node="node-1")
        port = MqttPort(broker, lambda pack: None, lambda event, what: told.append(event))

        async def until(done: Callable[[], bool]) -> None:
            async with asyncio.timeout(20.0):
                while not done():  # noqa: ASYNC110  what is waited for happens in another process
                    await asyncio.sleep(0.02)

        listening = asyncio.Event()
        reading = asyncio.create_task(collect(mosquitto.port, heard, listening))
        await asyncio.wait_for(listening.wait(), 20.0)
        serving = asyncio.create_task(port.run())
        for seq in range(90):
            port.send(encode("bay-1", 1.764e9 + seq, [("heatsink", "Cel", 20.0)], seq=seq))
            if seq == 30:
                await until(lambda: 30 in heard)
                await asyncio.to_thread(mosquitto.stop)
            elif seq == 60:
                await until(lambda: "lost" in told)
                mosquitto.start()
                await until(lambda: 60 in heard)
        await until(lambda: 89 in heard)
        for task in (serving, reading):
            task.cancel()
        await asyncio.gather(serving, reading, return_exceptions=True)
        return heard, told

    try:
        heard, told = asyncio.run(scenario())
    finally:
        mosquitto.stop()
    assert sorted(set(heard)) == list(range(90))
    assert told.count("ready") == 2


@pytest.mark.parametrize("instant", ["_on_publish", "_on_disconnect"])
def test_a_node_that_is_stopped_in_the_instant_of_an_answer_or_a_loss_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, instant: str
) -> None:
    """Its stop is not forgotten over what comes together with it."""
    mosquitto = Mosquitto(tmp_path)

    async def scenario() -> bool:
        ready = asyncio.Event()
        happened = getattr(aiomqtt.Client, instant)

        def happen(*words: object) -> None:
            happened(*words)
            if ready.is_set():
                serving.cancel()

        monkeypatch.setattr(aiomqtt.Client, instant, happen)
        broker = Broker(port=mosquitto.port, rack="rack-1", node="node-1")
        port = MqttPort(broker, lambda pack: None, lambda event, what: ready.set() if event == "ready" else None)
        serving = asyncio.create_task(port.run())
        await asyncio.wait_for(ready.wait(), 20.0)
        port.send(encode("bay-1", 1.764e9, [("heatsink", "Cel", 20.0)], seq=0))
        if instant == "_on_disconnect":
            port.unplug()
            port.plug()
        await asyncio.wait([serving], timeout=5.0)
        ended = serving.done()
        ready.clear()
        serving.cancel()
        return ended

    try:
        assert asyncio.run(scenario())
    finally:
        mosquitto.stop()
