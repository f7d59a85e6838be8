"""Open alerts on a real broker: retained while they are open, gone when they are closed, also over its death."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import aiomqtt
import pytest

from daemon.config import RackFile
from daemon.delivery.delivery import Delivery
from daemon.store.items import JobStarted
from daemon.store.reader import CATALOG

if TYPE_CHECKING:
    from tests.conftest import Broker
    from tests.daemon.delivery.conftest import Alerts

pytestmark = pytest.mark.usefixtures("nothing_left_running")

Until = Callable[..., None]
RackOf = Callable[[str], RackFile]


def on(broker: Broker) -> str:
    """A link to this broker."""
    return f'[[link]]\nname = "broker"\nkind = "mqtt"\nport = {broker.port}\n'


@pytest.fixture
def catalog(tmp_path: Path) -> Path:
    """The catalog of this test's store."""
    return tmp_path / "data" / CATALOG


def kept(broker: Broker) -> dict[str, Any]:
    """What the broker holds under the rack's alerts, by id."""

    async def read() -> dict[str, Any]:
        found: dict[str, Any] = {}
        end = f"end/{uuid4()}"
        async with aiomqtt.Client(broker.host, broker.port) as client:
            await client.subscribe("keysoak/rack-1/alerts/+")
            await client.subscribe(end)
            await client.publish(end, b"")
            async for message in client.messages:
                if str(message.topic) == end:
                    break
                if message.retain and isinstance(message.payload, bytes):
                    found[str(message.topic).rsplit("/", 1)[-1]] = json.loads(message.payload)
        return found

    return asyncio.run(read())


def put(broker: Broker, topic: str, payload: bytes) -> None:
    """Have the broker keep something."""

    async def publish() -> None:
        async with aiomqtt.Client(broker.host, broker.port) as client:
            await client.publish(topic, payload, qos=1, retain=True)

    asyncio.run(publish())


def test_an_alert_is_retained_follows_its_life_and_goes(  # noqa: PLR0917  fixtures
    alerts: Alerts,
    catalog: Path,
    rack_of: RackOf,
    mosquitto: Broker,
    until: Until,
    job_at: Callable[..., JobStarted],
) -> None:
    """Small JSON, as README tells; the folded one names its cause; the closed one is taken away."""
    alerts.store.put(job_at(1, "bay-1"))
    with Delivery(rack_of(on(mosquitto)), catalog, poll_s=0.02):
        alerts.say(1, job=1)
        alerts.say(2, told=False, state="suppressed", cause=1)
        until(lambda: set(kept(mosquitto)) == {"1", "2"}, "both are retained")
        found = kept(mosquitto)
        assert found["1"] == {
            "id": 1,
            "bay": "bay-1",
            "rule": "over-temperature",
            "subject": "heatsink",
            "priority": "trip",
            "state": "unacknowledged",
            "cause": None,
            "text": "heatsink 76.0 °C, limit 75.0 °C (1)",
            "value": 76.0,
            "limit": 75.0,
            "unit": "Cel",
            "job": "J-1",
            "radio": "MR-25 no. 014",
            "raised": "2025-11-25T07:00:00.000Z",
            "returned": None,
            "shelved_until": None,
        }
        assert found["2"]["cause"] == 1
        alerts.say(1, "acknowledged", "acknowledged", job=1)
        until(lambda: kept(mosquitto)["1"]["state"] == "acknowledged", "its state follows")
        alerts.say(1, "returned", "normal", job=1)
        until(lambda: set(kept(mosquitto)) == {"2"}, "the closed one is gone")


def test_what_was_closed_while_broker_or_daemon_were_away_is_taken_away(
    alerts: Alerts, catalog: Path, rack_of: RackOf, mosquitto: Broker, until: Until
) -> None:
    """What a broker still holds is compared with what is open, at each connection."""
    put(mosquitto, "keysoak/rack-1/alerts/77", b'{"id":77}')
    put(mosquitto, "keysoak/rack-2/alerts/77", b'{"id":77}')
    with Delivery(rack_of(on(mosquitto)), catalog, poll_s=0.02) as telling:
        alerts.say(1)
        until(lambda: set(kept(mosquitto)) == {"1"}, "the old one is gone, the new one is there")
        mosquitto.stop()
        until(lambda: not telling.view().brokers[0].connected, "the loss is noticed")
        assert telling.view().brokers[0].last_error
        alerts.say(1, "returned", "normal")
        alerts.say(2)
        mosquitto.start()
        until(lambda: telling.view().brokers[0].connected and set(kept(mosquitto)) == {"2"}, "it is up to date")
    alerts.say(2, "returned", "normal")
    with Delivery(rack_of(on(mosquitto)), catalog, poll_s=0.02):
        until(lambda: kept(mosquitto) == {}, "nothing is open")
