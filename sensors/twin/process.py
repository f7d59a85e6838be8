"""All units of a spec in real time: sampling, listening, commands on standard input, events on standard output."""

import asyncio
import json
import time
from collections.abc import Callable
from functools import partial
from typing import Any

from pydantic import TypeAdapter, ValidationError

from sensors.errors import PackRefused
from sensors.twin.errors import CommandRefused
from sensors.twin.faults import Fault, FaultBase
from sensors.twin.node import Node
from sensors.twin.ports import MqttPort, Port, SerialPort
from sensors.twin.spec import PtyPort, RackSpec, UnitSpec

Say = Callable[[dict[str, object]], None]

#: How often each node looks at its lease between samples, as a controller's main loop does.
LOOK_S = 0.02
#: A process that was held up this long doesn't send what it missed: a node doesn't either.
LATE_S = 1.0

_FAULT: TypeAdapter[FaultBase] = TypeAdapter(Fault)


class Unit:
    """One node with its port, in real time."""

    def __init__(self, spec: UnitSpec, say: Say) -> None:
        self.spec = spec
        self.silent = False
        self._say = say
        self.node = Node(spec, time.monotonic(), self._key_changed)
        self.port = self._make_port()

    async def sample(self, delay_s: float) -> None:
        """Send a pack each sample instant; until cancelled."""
        period_s = 1.0 / self.spec.rate_hz
        due_s = time.monotonic() + delay_s
        while True:
            now_s = time.monotonic()
            if due_s > now_s:
                await asyncio.sleep(due_s - now_s)
                now_s = time.monotonic()
            self.node.advance(now_s)
            pack = self.node.pack(round(time.time(), 3))
            if not self.silent:
                self.port.send(pack)
            due_s = due_s + period_s if now_s - due_s < LATE_S else now_s + period_s

    def _make_port(self) -> Port:
        port = self.spec.port
        if isinstance(port, PtyPort):
            return SerialPort(port.pty, self._hear, self._tell)
        if port is None:
            raise CommandRefused(f"{self.spec.bay} has no port: only the instant mode runs without one")
        return MqttPort(port.mqtt, self._hear, self._tell)

    def _hear(self, pack: bytes) -> None:
        try:
            self.node.hear(pack, time.monotonic())
        except PackRefused as e:
            self._tell("refused", str(e))

    def _tell(self, event: str, what: str) -> None:
        self._say({"event": event, "bay": self.spec.bay, "port" if event == "ready" else "why": what})

    def _key_changed(self, on: bool, clock_s: float, why: str) -> None:
        self._say({"event": "key", "bay": self.spec.bay, "on": on, "clock_s": clock_s, "why": why})


class Process:
    """Every unit of a spec. ``say`` takes each event as one object."""

    def __init__(self, spec: RackSpec, say: Say) -> None:
        self._say = say
        self._units = {one.bay: Unit(one, say) for one in spec.unit}

    async def run(self) -> None:
        """Serve all units until cancelled."""
        async with asyncio.TaskGroup() as tasks:
            for i, (bay, unit) in enumerate(self._units.items()):
                # Not all at one instant: no two real nodes sample together.
                delay_s = i / len(self._units) / unit.spec.rate_hz
                tasks.create_task(unit.port.run(), name=f"{bay} port")
                tasks.create_task(unit.sample(delay_s), name=f"{bay} sample")
            tasks.create_task(self._look(), name="leases")

    async def _look(self) -> None:
        while True:
            await asyncio.sleep(LOOK_S)
            now_s = time.monotonic()
            for unit in self._units.values():
                if unit.node.radio.key:
                    unit.node.advance(now_s)

    def command(self, line: bytes) -> None:
        """Carry out one command; one that can't be is said as an event, and nothing else stops."""
        try:
            words = json.loads(line)
            if not isinstance(words, dict):
                raise CommandRefused("a command is one JSON object")
            self._do(words)
        except (ValueError, CommandRefused) as e:
            self._say({"event": "refused", "why": f"command: {e}"})

    def _do(self, words: dict[str, Any]) -> None:
        unit = self._units.get(str(words.get("bay")))
        if unit is None:
            raise CommandRefused(f"no bay {words.get('bay')!r} here")
        doings: dict[str, Callable[[], None]] = {
            "unplug": unit.port.unplug,
            "plug": unit.port.plug,
            "restart": lambda: unit.node.restart(time.monotonic()),
            "fault": lambda: unit.node.inject(_fault(words.get("fault"))),
            "say": lambda: unit.port.say(str(words.get("bytes", "")).encode("latin-1")),
            "silence": partial(setattr, unit, "silent", bool(words.get("on", True))),
        }
        do = doings.get(str(words.get("do")))
        if do is None:
            raise CommandRefused(f"{words.get('do')!r} is none of {', '.join(doings)}")
        do()


def _fault(said: object) -> FaultBase:
    try:
        return _FAULT.validate_python(said)
    except ValidationError as e:
        raise CommandRefused(f"fault: {e.errors()[0]['msg']}") from e
