"""The daemon put together from rack.toml: links, bays, store, safety loop, API."""

import asyncio
import os
import signal
import socket
import sys
import time
from collections.abc import Callable
from pathlib import Path

import structlog

from daemon.alertbook import AlertBook
from daemon.api.doors import Doors
from daemon.api.server import ApiThread, build
from daemon.bay import Bay
from daemon.calibration.force import InForce
from daemon.calibration.kept import Calibrations
from daemon.config import BayTable, LinkTable, MqttTable, RackFile, SerialTable
from daemon.delivery.delivery import Delivery
from daemon.errors import BadFile, Problem
from daemon.files import read_text
from daemon.loop import Rack
from daemon.notes import StoreNotes
from daemon.said import cut_short
from daemon.selfwatch import SelfWatch
from daemon.store import Store
from daemon.store.reader import CATALOG
from daemon.tidying import keep_tidy
from sensors.intake import Observe
from sensors.mqtt_link import MqttLink
from sensors.serial_link import SerialLink
from sensors.types import Link
from sensors.wiring import Wiring

log = structlog.get_logger()

#: other threads give the interpreter back to the safety loop this often: beside two that are busy an echo over a
#: pipe took 3.3 ms (p50) at 1 ms, 1.6 ms at 0.3 ms, 0.6 ms at 0.1 ms; at 0.05 ms those two got as much done as at
#: 0.2 ms (measured)
SWITCH_S = 0.00005


def wirings_of(config: RackFile, link: str) -> dict[str, Wiring]:
    """How each bay on a link turns what its node sends into engineering units."""
    return {bay.name: wiring_of(bay) for bay in config.bay if bay.link == link}


def wiring_of(bay: BayTable) -> Wiring:
    """One bay's conversions, ready to run."""
    return {name: conversion.build() for name, conversion in bay.channel.items()}


def make_link(
    config: RackFile, table: LinkTable, observe: Observe | None = None, calibrated: InForce | None = None
) -> Link:
    """A link from its table of rack.toml; it connects when it is run, and shows ``observe`` each record.

    Its readings are corrected by what is in force in ``calibrated``, at any time.
    """
    wirings = wirings_of(config, table.name)
    if calibrated is not None:
        wirings = {bay: calibrated.wrapped(bay, wiring) for bay, wiring in wirings.items()}
    if isinstance(table, SerialTable):
        return SerialLink(table.name, table.port, wirings, baud=table.baud, crc=table.crc == "on", observe=observe)
    nodes = {bay.name: bay.node for bay in config.bay if bay.link == table.name and bay.node is not None}
    return MqttLink(
        table.name,
        table.host,
        table.port,
        config.rack.name,
        nodes,
        wirings,
        username=table.username,
        password=_password(table),
        # a probe is a guest at the broker: it neither takes over the daemon's session nor its kept packs
        client_id=f"keysoak-probe-{os.getpid()}" if observe else None,
        observe=observe,
    )


def make_rack(config: RackFile, store: Store) -> Rack:
    """The rack with its bays in the order of rack.toml."""
    calibrated = InForce(Calibrations(config.rack.data / CATALOG).in_force())
    links = {table.name: make_link(config, table, calibrated=calibrated) for table in config.link}
    rack = Rack(list(links.values()), store)
    rack.calibrated = calibrated
    found = store.alerts.open()
    histories = store.alerts.changes(one.id for one in found)
    book = rack.book = AlertBook(store, found, histories, link_of={bay.name: bay.link for bay in config.bay})
    for cut in store.cut_short:
        book.hear(cut.job, cut_short(cut.bay, cut.at_s, time.time_ns()))
    rack.refuses = lambda: store.refuses
    rack.watch = SelfWatch(lambda finding: book.hear(0, finding), lambda: store.error)
    notes = StoreNotes(store, book=book, later=rack.afterwards)
    for table in config.bay:
        bay = Bay(
            table.name,
            rack,
            notes,
            sample_s=1 / table.rate_hz,
            lease_s=table.lease_s,
            tone=table.tone,
            relay=rack,
            calibrated=calibrated,
        )
        rack.add(bay, links[table.link])
    return rack


def serve(config: RackFile, ready: Callable[[int], None]) -> None:
    """Run the daemon until SIGTERM or SIGINT; ``ready`` is told the API's port once it answers."""
    sys.setswitchinterval(SWITCH_S)
    inner = socket.create_server(("127.0.0.1", 0))
    workshop = config.workshop.model_dump_json()
    doors = Doors(_listen(config), config.api.host, config.rack.data, inner.getsockname()[1], workshop)
    try:
        store = Store(config.rack.data, serving=True)
        try:
            rack = make_rack(config, store)
            with Delivery(config, config.rack.data / CATALOG) as delivery:
                api = ApiThread(build(config, rack, store, delivery), inner)
                try:
                    asyncio.run(_run(rack, api, doors, ready))
                finally:
                    api.stop()
        finally:
            store.close()
    finally:
        doors.close()


async def _run(rack: Rack, api: ApiThread, doors: Doors, ready: Callable[[int], None]) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    api.start()
    async with asyncio.TaskGroup() as tasks:
        beside = [
            tasks.create_task(_tell_when_ready(doors, ready), name="tell when ready"),
            tasks.create_task(keep_tidy(rack), name="tidy"),
        ]
        await rack.run(stop)
        for task in beside:
            task.cancel()


async def _tell_when_ready(doors: Doors, ready: Callable[[int], None]) -> None:
    while not doors.ready:  # noqa: ASYNC110  threads set it, within a second of the start
        await asyncio.sleep(0.02)
    ready(doors.port)


def _password(table: MqttTable) -> str | None:
    if table.password_file is None:
        return None
    return read_text(Path(table.password_file)).strip()


def _listen(config: RackFile) -> socket.socket:
    host, port = config.api.host, config.api.port
    try:
        return socket.create_server((host, port))
    except OSError as err:
        what = f"{host}:{port} can't be listened on: {err.strerror}; choose another, or 0 for any that is free"
        raise BadFile("rack.toml", [Problem("api.port", what)]) from err
