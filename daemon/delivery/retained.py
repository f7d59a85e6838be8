"""Open alerts, retained on every broker of the rack: ``keysoak/<rack>/alerts/<id>``, empty again when one is closed.

On connections and a thread of its own: what a broker does with them never holds up a key. A broker that was away is
brought up to date by what it still holds, which it tells to whoever subscribes.
"""

import asyncio
import threading
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from typing import Any

import aiomqtt
import msgspec
from sqlalchemy import RowMapping
from sqlalchemy.exc import DBAPIError

from daemon.api.tell_models import BrokerView
from daemon.config import MqttTable
from daemon.files import read_text
from sensors.backoff import Backoff

KEEPALIVE_S = 15
ANSWER_S = 5.0
AGAIN_S = 1.0

Alerts = Callable[[], Iterable[RowMapping]]


def payload(row: RowMapping) -> bytes:
    """An alert as the JSON that README tells; what is not known is null."""
    same = ("id", "bay", "rule", "subject", "priority", "state", "cause", "text", "value", "unit")
    said: dict[str, Any] = {name: row[name] for name in same}
    said["bay"] = row["bay"] or None
    said |= {"limit": row["limit_value"], "job": row["number"], "radio": row["radio"]}
    said |= {name: _time(row[f"{name}_ns"]) for name in ("raised", "returned", "shelved_until")}
    return msgspec.json.encode(said)


def _time(time_ns: int | None) -> str | None:
    if time_ns is None:
        return None
    return datetime.fromtimestamp(time_ns / 1e9, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class Broker:
    """One broker: what it holds, and what it should."""

    def __init__(self, rack: str, table: MqttTable, alerts: Alerts) -> None:
        self.view = BrokerView(link=table.name, connected=False, last_error="")
        self.asked = asyncio.Event()
        self._table, self._alerts = table, alerts
        self._topic = f"keysoak/{rack}/alerts"
        self._client_id = f"keysoak-{rack}-{table.name}-alerts"
        password = table.password_file
        self._password = None if password is None else read_text(password).strip()
        self._held: dict[str, bytes] = {}

    async def run(self) -> None:
        """Keep the broker up to date, until cancelled."""
        backoff = Backoff()
        while True:
            try:
                await self._connection(backoff)
            except aiomqtt.MqttError as err:
                self.view.last_error = str(err)
            finally:
                self.view.connected = False
            await asyncio.sleep(backoff.wait_s())

    async def _connection(self, backoff: Backoff) -> None:
        table = self._table
        client = aiomqtt.Client(
            hostname=table.host,
            port=table.port,
            username=table.username,
            password=self._password,
            identifier=self._client_id,
            protocol=aiomqtt.ProtocolVersion.V311,
            keepalive=KEEPALIVE_S,
            timeout=ANSWER_S,
        )
        async with client:
            self._held = {}
            self.asked.set()
            await client.subscribe(f"{self._topic}/+", qos=1)
            self.view.connected, self.view.last_error = True, ""
            backoff.reset()
            speaker = asyncio.create_task(self._speak(client), name=f"alerts to {table.name}")
            try:
                async for message in client.messages:
                    self._hear(message)
            finally:
                speaker.cancel()
                with suppress(asyncio.CancelledError, aiomqtt.MqttError):
                    await speaker

    def _hear(self, message: aiomqtt.Message) -> None:
        # only what the broker kept says what it holds; the rest is our own, come back
        alert = str(message.topic).rpartition("/")[2]
        if message.retain and alert.isdecimal() and isinstance(message.payload, bytes):
            self._held[alert] = message.payload
            self.asked.set()

    async def _speak(self, client: aiomqtt.Client) -> None:
        while True:
            await self.asked.wait()
            self.asked.clear()
            try:
                wanted = {str(row["id"]): payload(row) for row in self._alerts()}
                await self._publish(client, wanted)
            except DBAPIError as err:
                self.view.last_error = str(err.orig)
                await asyncio.sleep(AGAIN_S)
                self.asked.set()
            except aiomqtt.MqttError as err:
                self.view.last_error = str(err)
                await asyncio.sleep(AGAIN_S)
                self.asked.set()

    async def _publish(self, client: aiomqtt.Client, wanted: dict[str, bytes]) -> None:
        for alert in [alert for alert in self._held if alert not in wanted]:
            await client.publish(f"{self._topic}/{alert}", b"", qos=1, retain=True)
            self._held.pop(alert, None)
        for alert, said in wanted.items():
            if self._held.get(alert) != said:
                await client.publish(f"{self._topic}/{alert}", said, qos=1, retain=True)
                self._held[alert] = said


class Retained:
    """All brokers of the rack, on one thread; nothing of it runs where the rack has none."""

    def __init__(self, rack: str, tables: Sequence[MqttTable], alerts: Alerts) -> None:
        self._brokers = [Broker(rack, table, alerts) for table in tables]
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ready = threading.Event()
        self._end = asyncio.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._run()), name="alerts on MQTT", daemon=True)

    def start(self) -> None:
        """Begin to publish."""
        if self._brokers:
            self._thread.start()
            self._ready.wait(AGAIN_S)

    def stop(self, timeout_s: float = ANSWER_S) -> None:
        """Stop; what is retained stays, as the alerts do."""
        self._tell(self._end)
        if self._thread.ident is not None:
            self._thread.join(timeout_s)

    def changed(self) -> None:
        """Alerts have changed: look again."""
        for broker in self._brokers:
            self._tell(broker.asked)

    def views(self) -> list[BrokerView]:
        """Each broker as it stands."""
        return [broker.view.model_copy() for broker in self._brokers]

    def _tell(self, event: asyncio.Event) -> None:
        if self._loop is not None:
            with suppress(RuntimeError):  # the loop has ended meanwhile
                self._loop.call_soon_threadsafe(event.set)

    async def _run(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._ready.set()
        async with asyncio.TaskGroup() as tasks:
            running = [tasks.create_task(broker.run(), name=broker.view.link) for broker in self._brokers]
            await self._end.wait()
            for task in running:
                task.cancel()
