"""The MQTT link: nodes on a broker, a persistent session that loses no QoS 1 pack, presence, key packs."""

import asyncio
import socket
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any

import aiomqtt

from sensors.backoff import LONGEST_S, Backoff
from sensors.cancellation import stay_cancelled
from sensors.errors import LinkFailed
from sensors.intake import Intake, Observe
from sensors.outbox import Order, Outbox, nobody
from sensors.prompt_client import PromptClient
from sensors.types import Clock, Frame, LinkStats
from sensors.wiring import Wiring

#: a dead broker that still holds its TCP connection is noticed within one and a half of these (MQTT 3.1.1 §3.1.2.10)
_KEEPALIVE_S = 5
#: connecting, subscribing, and the broker's word for a QoS 1 message: a healthy one takes milliseconds
_ANSWER_S = 3.0
#: before an unkey that the broker did not take is tried again
_AGAIN_S = 0.1
#: how long the last unkeys are tried when the link ends
_FAREWELL_S = 0.5

#: an unkey goes out right behind the acknowledgement of the pack that told it: with Nagle's algorithm (RFC 896) it
#: waited for the broker's delayed one (RFC 1122 section 4.2.3.2), 40 ms on Linux (measured: p50 36 ms, without 1 ms)
_AT_ONCE = [(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)]

_PRESENCES = {b"online": "online", b"offline": "offline"}


class MqttLink:
    """One broker and the nodes of one rack behind it; a Link (sensors/types.py).

    ``nodes`` names each bay's node, in ``keysoak/<rack>/<node>/...``; a pack is taken only from its own bay's node.
    Loans go at QoS 0, as one that comes late must not key; unkeys at QoS 1. Nothing is ever retained. While the
    daemon is away the broker keeps QoS 1 packs for ``client_id``.
    """

    def __init__(  # noqa: PLR0917  the order is agreed with its callers
        self,
        name: str,
        host: str,
        port: int,
        rack: str,
        nodes: Mapping[str, str],
        wirings: Mapping[str, Wiring],
        *,
        username: str | None = None,
        password: str | None = None,
        client_id: str | None = None,
        clock: Clock = time.monotonic,
        wall_ns: Callable[[], int] = time.time_ns,
        observe: Observe | None = None,
    ) -> None:
        self.name = name
        self.stats = LinkStats()
        self._host, self._port, self._where = host, port, f"{host}:{port}"
        self._username, self._password = username, password
        self._client_id = client_id or f"keysoak-{rack}-{name}"
        self._clock, self._wall_ns = clock, wall_ns
        self._outbox = Outbox(clock)
        self._key_topics = {bay: f"keysoak/{rack}/{node}/key" for bay, node in nodes.items()}
        self._readings: dict[str, Intake] = {}
        self._presence: dict[str, list[str]] = {}
        for node in dict.fromkeys(nodes.values()):
            bays = [bay for bay, its in nodes.items() if its == node]
            own = {bay: wirings.get(bay, {}) for bay in bays}
            self._readings[f"keysoak/{rack}/{node}/readings"] = Intake(own, self.stats, observe)
            self._presence[f"keysoak/{rack}/{node}/presence"] = bays

    def lend(self, bay: str, lease_s: float, tone: bool | None = None) -> None:
        """Lend the key of ``bay`` for ``lease_s`` seconds from now."""
        self._outbox.lend(bay, lease_s, tone)

    def unkey(self, bay: str) -> None:
        """Take the key back at once; kept until the broker has it."""
        self._outbox.unkey(bay)

    def cut(self, bay: str, opened: bool) -> None:
        """Unkey, and open (or close again) the supply relay."""
        self._outbox.unkey(bay, cut=opened)

    async def run(self, deliver: Callable[[Frame], None]) -> None:
        """Deliver frames until cancelled; then unkey all bays, within half a second."""
        backoff = Backoff()
        while True:
            began_s = time.monotonic()
            try:
                await self._connection(deliver)
            except LinkFailed as err:
                self.stats.last_error = str(err)
            finally:
                self.stats.connected = False
                for bay in self._key_topics:
                    self.stats.bays[bay].presence = "unknown"
            stay_cancelled()
            if time.monotonic() - began_s > LONGEST_S:
                backoff.reset()
            await asyncio.sleep(backoff.wait_s())

    async def _connection(self, deliver: Callable[[Frame], None]) -> None:
        """One connection, until it is lost: raises LinkFailed, and what ``deliver`` raises."""
        fault: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        client = PromptClient(
            self._host,
            self._port,
            username=self._username,
            password=self._password,
            identifier=self._client_id,
            protocol=aiomqtt.ProtocolVersion.V311,
            clean_session=False,
            keepalive=_KEEPALIVE_S,
            timeout=_ANSWER_S,
            socket_options=_AT_ONCE,
            queue_type=_straight_to(lambda message: self._take(message, deliver, fault)),
        )
        listener: asyncio.Task[str] | None = None
        try:
            async with client:
                listener = asyncio.create_task(self._listen(client), name=f"{self.name} listens")
                await client.subscribe([(topic, 1) for topic in (*self._readings, *self._presence)])
                self.stats.connected = True
                self.stats.connects += 1
                raise LinkFailed(self._where, await self._talk(client, listener, fault))
        except aiomqtt.MqttError as err:
            raise LinkFailed(self._where, str(err)) from err
        finally:
            if listener is not None:
                # off the broker by now, so it ends by itself
                await asyncio.wait([listener], timeout=_ANSWER_S)
                listener.cancel()
            if fault.done():
                fault.result()

    async def _talk(self, client: aiomqtt.Client, listener: asyncio.Task[str], fault: asyncio.Future[None]) -> str:
        """Speak until the connection is lost, or there is a fault of ours; returns why."""
        try:
            stay_cancelled()
            async with asyncio.TaskGroup() as tasks:
                speaker = tasks.create_task(self._speak(client), name=f"{self.name} speaks")
                ends: list[asyncio.Future[Any]] = [listener, fault]
                await asyncio.wait(ends, return_when=asyncio.FIRST_COMPLETED)
                speaker.cancel()
        except asyncio.CancelledError:
            await self._farewell(client)
            raise
        return listener.result() if listener.done() else "a reading could not be taken in"

    async def _listen(self, client: aiomqtt.Client) -> str:
        # no message comes this way: it waits for the end of the connection, and says why
        try:
            async for _ in client.messages:
                pass
        except aiomqtt.MqttError as err:
            return str(err.__cause__ or err)
        return "the broker ended the connection"

    def _take(self, message: aiomqtt.Message, deliver: Callable[[Frame], None], fault: asyncio.Future[None]) -> None:
        try:
            for frame in self._heard(message):
                deliver(frame)
        except Exception as err:  # noqa: BLE001  one of ours: it ends the connection, and comes out of run()
            if not fault.done():
                fault.set_exception(err)

    def _heard(self, message: aiomqtt.Message) -> list[Frame]:
        topic = str(message.topic)
        payload = message.payload if isinstance(message.payload, bytes) else b""
        if (bays := self._presence.get(topic)) is not None:
            for bay in bays:
                self.stats.bays[bay].presence = _PRESENCES.get(payload, "unknown")
            return []
        if message.retain:
            # what a broker kept says nothing of now, and would look alive
            self.stats.refused += 1
            self.stats.last_error = f"{topic}: a retained pack; readings must not be retained"
            return []
        return self._readings[topic].feed(payload, self._clock(), self._wall_ns())

    async def _speak(self, client: aiomqtt.Client) -> None:
        async with asyncio.TaskGroup() as tasks:
            self._outbox.wake = lambda: self._begin_all(client, tasks)
            try:
                self._begin_all(client, tasks)
                await asyncio.Event().wait()
            finally:
                self._outbox.wake = nobody

    def _begin_all(self, client: aiomqtt.Client, tasks: asyncio.TaskGroup) -> None:
        # all orders that wait, in their order; none waits for the broker's word on another
        while (order := self._outbox.next()) is not None:
            tasks.create_task(self._tell(client, order), name=f"{self.name} tells {order.bay}")

    async def _tell(self, client: aiomqtt.Client, order: Order) -> None:
        told = False
        try:
            await client.publish(self._key_topics[order.bay], order.pack(self._clock()), qos=0 if order.on else 1)
            told = True
        except aiomqtt.MqttError as err:
            self.stats.last_error = f"{order.bay} could not be told: {err}"
        finally:
            if not told:
                self._outbox.put_back(order)
        if not told:
            await asyncio.sleep(_AGAIN_S)
            self._outbox.wake()

    async def _farewell(self, client: aiomqtt.Client) -> None:
        for bay in self._key_topics:
            self._outbox.unkey(bay)
        with suppress(TimeoutError):
            async with asyncio.timeout(_FAREWELL_S), asyncio.TaskGroup() as tasks:
                self._begin_all(client, tasks)


def _straight_to(take: Callable[[aiomqtt.Message], None]) -> type[asyncio.Queue[aiomqtt.Message]]:
    """A queue in which nothing waits: a pack is judged as it is read, and acknowledged after that.

    By a real queue it came through four turns of the loop, and under load an unkey took three times as long (measured).
    """

    class Straight(asyncio.Queue[aiomqtt.Message]):
        def put_nowait(self, item: aiomqtt.Message) -> None:
            take(item)

    return Straight
