"""The twin's process over real ports: a pseudo-terminal opened with pyserial, and a real broker."""

import asyncio
import contextlib
import json
import queue
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path
from typing import Any

import aiomqtt
import pytest
import serial

from sensors.framing import LineSplitter, open_line, seal
from sensors.lease import key_pack
from sensors.senml import decode, resolve

WAIT_S = 10.0
LEASE_S = 0.6


class Twin:
    """A child process, its events as they come, and its standard input."""

    def __init__(self, spec: str, folder: Path) -> None:
        path = folder / "twin.toml"
        path.write_text(spec)
        self.child = subprocess.Popen(
            [sys.executable, "-m", "sensors.twin", str(path)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[2],
        )
        self._events: queue.Queue[dict[str, Any]] = queue.Queue()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        assert self.child.stdout
        for line in self.child.stdout:
            self._events.put(json.loads(line))

    def do(self, what: str, bay: str = "bay-1", **more: object) -> None:
        assert self.child.stdin
        self.child.stdin.write(json.dumps({"do": what, "bay": bay, **more}) + "\n")
        self.child.stdin.flush()

    def event(self, name: str, **fields: object) -> dict[str, Any]:
        """The next event of this name with these fields; others before it are passed over."""
        end_s = time.monotonic() + WAIT_S
        while True:
            event = self._events.get(timeout=max(end_s - time.monotonic(), 0.01))
            if event["event"] == name and all(event.get(k) == v for k, v in fields.items()):
                return event

    def end(self) -> tuple[int, str]:
        """Close standard input; the exit status and what was said on standard error."""
        assert self.child.stdin
        assert self.child.stdout
        assert self.child.stderr
        self.child.stdin.close()
        status = self.child.wait(WAIT_S)
        self._thread.join(WAIT_S)
        said = self.child.stderr.read()
        self.child.stdout.close()
        self.child.stderr.close()
        return status, said


@pytest.fixture
def run_twin(tmp_path: Path) -> Iterator[Callable[[str], Twin]]:
    twins: list[Twin] = []

    def start(spec: str) -> Twin:
        twins.append(Twin(spec, tmp_path))
        return twins[-1]

    yield start
    for twin in twins:
        if twin.child.poll() is None:
            assert twin.end() == (0, "")


def unit(tmp_path: Path, bay: str = "bay-1", more: str = "") -> str:
    return f'[[unit]]\nbay = "{bay}"\nrate_hz = 20\nport = {{ pty = "{tmp_path / bay}" }}\n{more}\n'


class Line:
    """The daemon's end of a serial line, by pyserial."""

    def __init__(self, path: Path) -> None:
        self.port = serial.Serial(str(path), 115200, timeout=0.2, exclusive=True)
        self._splitter = LineSplitter()
        self._lines: list[bytes] = []

    def line(self) -> bytes:
        end_s = time.monotonic() + WAIT_S
        while not self._lines:
            assert time.monotonic() < end_s, "the line is silent"
            self._lines = self._splitter.feed(self.port.read(max(self.port.in_waiting, 1)))
        return self._lines.pop(0)

    def readings(self) -> dict[str, float | bool]:
        records = resolve(decode(open_line(self.line())), now_s=0.0)
        values = {str(r.n).partition("/")[2]: r.vb if isinstance(r.vb, bool) else r.v for r in records}
        return {name: value for name, value in values.items() if isinstance(value, float | bool)}

    def until(self, wanted: Callable[[dict[str, float | bool]], bool]) -> dict[str, float | bool]:
        end_s = time.monotonic() + WAIT_S
        while not wanted(readings := self.readings()):
            assert time.monotonic() < end_s, f"still {readings}"
        return readings


def test_a_node_on_a_real_line_is_lent_the_key_and_unkeys_by_itself(
    tmp_path: Path, run_twin: Callable[[str], Twin]
) -> None:
    """Packs with good CRC come, a loan keys it, and without renewal it unkeys within the lease."""
    twin = run_twin(unit(tmp_path))
    assert twin.event("ready", bay="bay-1")["port"] == str(tmp_path / "bay-1")
    line = Line(tmp_path / "bay-1")
    with contextlib.closing(line.port) as port:
        line.line()  # the first may have been begun before the port was opened
        assert line.readings()["key"] is False
        port.write(seal(key_pack("bay-1", LEASE_S, True, tone=True)))
        on = twin.event("key", bay="bay-1", on=True)
        keyed = line.until(lambda r: r["key"] is True)
        off = twin.event("key", bay="bay-1", on=False)
        assert keyed["forward"] > 20.0
        assert off["why"] == "lease ended"
        # No earlier than the loan, and not much later: the node looks 50 times a second; the machine is shared.
        assert LEASE_S - 0.01 <= off["clock_s"] - on["clock_s"] < LEASE_S + 0.4
        line.until(lambda r: r["key"] is False and r["forward"] < 0.5)
        port.write(seal(key_pack("bay-1", 30.0, True)))
        twin.event("key", on=True)
        port.write(seal(key_pack("bay-1", 0.0, False)))
        assert twin.event("key", on=False)["why"] == "told"


def test_unplugging_hangs_the_port_up_and_plugging_brings_it_back(
    tmp_path: Path, run_twin: Callable[[str], Twin]
) -> None:
    """Unplugged, a reader sees the end and the name is gone; plugged, the same name leads to a port that works."""
    twin = run_twin(unit(tmp_path) + unit(tmp_path, "bay-2"))
    twin.event("ready", bay="bay-1")
    line = Line(tmp_path / "bay-1")
    line.line()
    twin.do("unplug")
    # A SerialException from a read, or an OSError from asking what waits: whichever comes first (both are OSErrors).
    with pytest.raises(OSError, match=r"Input/output error|no data"):
        line.until(lambda readings: False)
    line.port.close()
    assert not (tmp_path / "bay-1").is_symlink()
    twin.do("plug")
    twin.event("ready", bay="bay-1")
    again = Line(tmp_path / "bay-1")
    with contextlib.closing(again.port):
        again.line()
        assert again.readings()["seq"] > 0


def test_commands_restart_silence_break_and_speak_for_a_node(tmp_path: Path, run_twin: Callable[[str], Twin]) -> None:
    """Restart begins seq at 0, a fault shows at once, say puts any bytes on the line, silence is silence."""
    twin = run_twin(unit(tmp_path))
    twin.event("ready")
    line = Line(tmp_path / "bay-1")
    with contextlib.closing(line.port):
        line.line()
        line.until(lambda r: r["seq"] > 3)
        twin.do("restart")
        line.until(lambda r: r["seq"] == 0)
        twin.do("fault", fault={"kind": "open-sensor"})
        line.until(lambda r: r["heatsink"] == -55.0)
        twin.do("silence", on=True)
        twin.do("say", bytes="no pack \xff at all\n")
        while line.line() != b"no pack \xff at all":
            pass
        line.port.timeout = 0.5
        assert line.port.read(1) == b""
        twin.do("silence", on=False)
        line.until(lambda r: r["seq"] > 5)


def test_a_bad_command_and_a_bad_line_are_said_and_stop_nothing(
    tmp_path: Path, run_twin: Callable[[str], Twin]
) -> None:
    """Each is an event with its reason; packs go on coming."""
    twin = run_twin(unit(tmp_path))
    twin.event("ready")
    twin.do("plug", "bay-9")
    assert "no bay 'bay-9'" in twin.event("refused")["why"]
    twin.do("dance")
    assert "'dance' is none of" in twin.event("refused")["why"]
    twin.do("fault", fault={"kind": "gremlin"})
    assert "fault" in twin.event("refused")["why"]
    line = Line(tmp_path / "bay-1")
    with contextlib.closing(line.port):
        line.port.write(b'[{"bn":"bay-1/","n":"key","vb":true},{"n":"lease","u":"s","v":3}] 00000000\n')
        assert "CRC" in twin.event("refused")["why"]
        line.port.write(seal(b'[{"bn":"bay-1/","n":"key","vb":true}]'))
        assert "lease" in twin.event("refused")["why"]
        line.line()
        assert line.readings()["key"] is False


@pytest.mark.parametrize("by_signal", [True, False])
def test_the_twin_ends_cleanly(tmp_path: Path, run_twin: Callable[[str], Twin], by_signal: bool) -> None:
    """SIGTERM and the end of standard input both end it with status 0, silent, its ports gone."""
    twin = run_twin(unit(tmp_path))
    twin.event("ready")
    if by_signal:
        twin.child.send_signal(signal.SIGTERM)
        twin.child.wait(WAIT_S)
    assert twin.end() == (0, "")
    assert list(tmp_path.glob("bay-*")) == []


def test_a_spec_that_can_t_be_used_ends_it_with_two_and_a_reason(
    tmp_path: Path, run_twin: Callable[[str], Twin]
) -> None:
    """Status 2 and a line that names file and field."""
    twin = run_twin("[[unit]]\nbay = 'b'\nrate_hz = 0\n")
    status, said = twin.end()
    assert status == 2
    assert "twin.toml: unit.0.rate_hz" in said


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[int]:
    """A Mosquitto of our own on a free port."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = int(probe.getsockname()[1])
    conf = tmp_path / "mosquitto.conf"
    conf.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n")
    with subprocess.Popen(["/usr/sbin/mosquitto", "-c", str(conf)], stderr=subprocess.DEVNULL) as child:
        yield port
        child.terminate()


@contextlib.asynccontextmanager
async def reader(port: int) -> AsyncIterator[aiomqtt.Client]:
    while True:
        try:
            async with aiomqtt.Client("127.0.0.1", port) as client:
                await client.subscribe("keysoak/#", qos=1)
                yield client
                return
        except aiomqtt.MqttError:
            await asyncio.sleep(0.05)  # the broker is coming up


async def heard(client: aiomqtt.Client, topic: str, wanted: Callable[[bytes], bool]) -> bytes:
    async with asyncio.timeout(WAIT_S):
        async for message in client.messages:
            payload = message.payload
            if str(message.topic).endswith(topic) and isinstance(payload, bytes) and wanted(payload):
                return payload
    raise AssertionError("the broker has gone")


def test_a_node_on_a_broker_keeps_presence_packs_and_lease(
    tmp_path: Path, broker: int, run_twin: Callable[[str], Twin]
) -> None:
    """Presence is online, then the last will; packs come; the key is lent; a retained key is passed over."""

    async def scenario() -> None:
        async with reader(broker) as client:
            stale = key_pack("bay-5", 30.0, True)
            await client.publish("keysoak/rack-1/node-5/key", stale, qos=1, retain=True)
            port = f'port = {{ mqtt = {{ port = {broker}, rack = "rack-1", node = "node-5" }} }}'
            twin = run_twin(f'[[unit]]\nbay = "bay-5"\nrate_hz = 20\n{port}\n')
            await heard(client, "node-5/presence", lambda p: p == b"online")
            await heard(client, "node-5/readings", lambda p: b'"key","vb":false' in p and b'"v":5}' in p)
            await client.publish("keysoak/rack-1/node-5/key", key_pack("bay-5", LEASE_S, True, tone=True), qos=1)
            await heard(client, "node-5/readings", lambda p: b'"key","vb":true' in p)
            await heard(client, "node-5/readings", lambda p: b'"key","vb":false' in p)
            assert twin.event("key", on=True)["why"] == "told"
            assert twin.event("key", on=False)["why"] == "lease ended"
            twin.do("unplug", "bay-5")
            await heard(client, "node-5/presence", lambda p: p == b"offline")
            twin.do("plug", "bay-5")
            await heard(client, "node-5/presence", lambda p: p == b"online")
            await heard(client, "node-5/readings", lambda p: True)
            assert twin.child.stdin
            twin.child.stdin.close()
            await heard(client, "node-5/presence", lambda p: p == b"offline")

    asyncio.run(scenario())
