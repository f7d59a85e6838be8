"""The node's way out: a pseudo-terminal under a fixed name, or a place on an MQTT broker."""

import asyncio
import contextlib
import os
import random
import socket
import termios
import tty
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

import aiomqtt

from sensors.cancellation import stay_cancelled
from sensors.errors import LineRefused
from sensors.framing import LineSplitter, open_line, seal
from sensors.twin.spec import Broker

Hear = Callable[[bytes], None]
Tell = Callable[[str, str], None]
"""Called with an event's name (ready | refused | lost) and the port, or why."""


class Port(Protocol):
    """What the process needs of a port; all but ``run`` return at once."""

    async def run(self) -> None:
        """Serve until cancelled."""

    def send(self, pack: bytes) -> None:
        """Hand one pack on; what a real link would lose is lost."""

    def say(self, data: bytes) -> None:
        """Put bytes on the link as they are."""

    def plug(self) -> None:
        """Connect again."""

    def unplug(self) -> None:
        """Pull the cable."""


class SerialPort:
    """The master of a pseudo-terminal; ``path`` is a symbolic link to whichever one it is at the time."""

    def __init__(self, path: Path, hear: Hear, tell: Tell) -> None:
        self._path = path
        self._hear = hear
        self._tell = tell
        self._fds: tuple[int, int] | None = None
        self._left = b""
        self.overruns = 0

    async def run(self) -> None:
        """Serve until cancelled, then take the symbolic link away."""
        self.plug()
        try:
            await asyncio.Event().wait()
        finally:
            self.unplug()

    def plug(self) -> None:
        """A new pseudo-terminal under the same name."""
        if self._fds:
            return
        # The slave is held open here too: without any opener a master reads errors, not silence.
        master, slave = self._fds = os.openpty()
        tty.setraw(slave)
        os.set_blocking(master, False)
        asyncio.get_running_loop().add_reader(master, self._read, master, LineSplitter())
        new = self._path.with_name(self._path.name + ".new")
        new.unlink(missing_ok=True)
        new.symlink_to(os.ttyname(slave))
        new.replace(self._path)
        self._tell("ready", str(self._path))

    def unplug(self) -> None:
        """Close both ends: whoever has the port open sees it hang up."""
        if self._fds:
            master, slave = self._fds
            self._fds, self._left = None, b""
            self._path.unlink(missing_ok=True)
            asyncio.get_running_loop().remove_reader(master)
            os.close(master)
            os.close(slave)

    def send(self, pack: bytes) -> None:
        """Send one line."""
        self.say(seal(pack))

    def say(self, data: bytes) -> None:
        """Write; where nobody reads, the oldest is lost, as in the receiver of a real line."""
        if not self._fds:
            return
        master, slave = self._fds
        self._left += data
        with contextlib.suppress(BlockingIOError):
            self._left = self._left[os.write(master, self._left) :]
            return
        self.overruns += 1
        termios.tcflush(slave, termios.TCIFLUSH)
        self._left = b"\n" + data  # the line feed ends what was cut in the middle

    def _read(self, master: int, lines: LineSplitter) -> None:
        for line in lines.feed(os.read(master, 4096)):
            try:
                self._hear(open_line(line))
            except LineRefused as e:
                self._tell("refused", e.why)


class MqttPort:
    """A node's topics on a broker, its presence with last will; packs wait while the broker is away."""

    #: a node with some tens of kilobytes to spare keeps the packs of five minutes at 2 Hz, and then loses
    #: the oldest
    KEPT = 600
    KEEPALIVE_S = 5
    BACKOFF_S = (0.2, 1.0)
    AGAIN_S = 0.1

    def __init__(self, broker: Broker, hear: Hear, tell: Tell) -> None:
        self._broker = broker
        self._hear = hear
        self._tell = tell
        self._waiting: deque[bytes] = deque(maxlen=self.KEPT)
        self._more = asyncio.Event()
        self._plugged = asyncio.Event()
        self._plugged.set()
        self._client: aiomqtt.Client | None = None

    async def run(self) -> None:
        """Serve until cancelled; reconnect for as long as that takes."""
        while True:
            await self._plugged.wait()
            try:
                why = await self._serve()
            except aiomqtt.MqttError as lost:
                why = str(lost)
            stay_cancelled()
            self._tell("lost", why)
            self._client = None
            await asyncio.sleep(random.uniform(*self.BACKOFF_S))

    def send(self, pack: bytes) -> None:
        """Queue one pack."""
        self.say(pack)

    def say(self, data: bytes) -> None:
        """Queue a payload for the readings' topic."""
        self._waiting.append(data)
        self._more.set()

    def plug(self) -> None:
        """Let the node connect again."""
        self._plugged.set()

    def unplug(self) -> None:
        """Break the connection without a word, so that the broker speaks the last will."""
        self._plugged.clear()
        if self._client:
            # aiomqtt has no way to vanish: leaving its context says goodbye, and then there is no last will.
            line = self._client._client.socket()
            if isinstance(line, socket.socket):
                line.shutdown(socket.SHUT_RDWR)

    async def _serve(self) -> str:
        """One connection, until it is lost; returns why."""
        broker = self._broker
        presence = f"{broker.topic}/presence"
        async with aiomqtt.Client(
            broker.host,
            broker.port,
            username=broker.username,
            password=broker.password,
            identifier=f"twin-{broker.rack}-{broker.node}",
            will=aiomqtt.Will(presence, "offline", qos=1, retain=True),
            # Nothing said while a node was away may key it later.
            clean_session=True,
            keepalive=self.KEEPALIVE_S,
        ) as client:
            await client.subscribe(f"{broker.topic}/key", qos=1)
            await client.publish(presence, "online", qos=1, retain=True)
            self._client = client
            self._tell("ready", f"{broker.host}:{broker.port} {broker.topic}")
            try:
                stay_cancelled()
                async with asyncio.TaskGroup() as tasks:
                    publishing = tasks.create_task(self._publish(client), name=f"{broker.node} publish")
                    # it alone ends a connection: a group whose task fails as it is cancelled forgets the cancellation
                    why = await self._listen(client)
                    publishing.cancel()
            except asyncio.CancelledError:
                with contextlib.suppress(aiomqtt.MqttError):
                    await client.publish(presence, "offline", qos=1, retain=True, timeout=1.0)
                raise
        return why

    async def _publish(self, client: aiomqtt.Client) -> None:
        topic = f"{self._broker.topic}/readings"
        while True:
            while self._waiting:
                pack = self._waiting[0]
                try:
                    await client.publish(topic, pack, qos=1)
                except aiomqtt.MqttError:
                    # Nearly always the connection is lost, which ends this.
                    await asyncio.sleep(self.AGAIN_S)
                    continue
                stay_cancelled()
                # Only now: one whose receipt was lost is sent again, and the reader drops it by its seq.
                if self._waiting and self._waiting[0] is pack:
                    self._waiting.popleft()
            self._more.clear()
            await self._more.wait()

    async def _listen(self, client: aiomqtt.Client) -> str:
        try:
            async for message in client.messages:
                # The contract never retains a key pack: a retained one is old, whatever it says.
                if isinstance(message.payload, bytes) and not message.retain:
                    self._hear(message.payload)
        except aiomqtt.MqttError as lost:
            return str(lost)
        return "the broker ended the connection"
