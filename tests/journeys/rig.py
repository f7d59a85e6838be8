"""A small rack for journeys: real twins on pseudo-terminals and a real broker, a real daemon, a real page."""

import contextlib
import socket
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, TypeVar

import httpx

from daemon.api.client import Client
from daemon.api.models import BayLink, BayView, JobView, SoakOrder
from daemon.store.reader import Reader
from tests.journeys.children import Child, Daemon, Page, Twins, until

C = TypeVar("C", bound=Child)

RACK = "rack-1"
LEASE_S = 1.0
RATE_HZ = 5.0
#: what each bay has besides
BAY = "tone = true\nload = { continuous_w = 50 }\n"
SERIAL = ("bay-1", "bay-2")
MQTT = ("bay-3", "bay-4")
BAYS = SERIAL + MQTT


class OnePort(Protocol):
    """What a rig needs to know of a broker."""

    port: int


def plan(*phases: tuple[str, float], limits: str = "") -> str:
    """A plan's file; each phase is its drive and its seconds."""
    text = 'name = "journey"\n'
    for drive, seconds in phases:
        text += f'[[phase]]\ndrive = "{drive}"\nminutes = {seconds / 60}\n'
    return text + f"[limits]\n{limits}\n"


#: long enough for anything that a journey does to a keyed bay; no journey waits for its end
LONG = plan(("carrier", 600.0))


@dataclass
class Rig:
    """A rack of four bays, two on serial lines and two on a broker; every part can be started, ended and killed."""

    folder: Path
    broker: OnePort
    stack: contextlib.ExitStack
    serial: tuple[str, ...] = SERIAL
    lease_s: float = LEASE_S
    more: str = ""  # further tables of rack.toml

    def __post_init__(self) -> None:
        self.data = self.folder / "data"
        self.twins = self._until_the_end(Twins(self.folder, self._spec()))
        for bay in BAYS:
            self.twins.event("ready", bay)

    def start_daemon(self, module: str = "daemon.cli.main") -> Daemon:
        """Start it (also anew after a kill); returns when packs of every bay that has a twin have come."""
        rack = self.folder / "rack.toml"
        rack.write_text(self._rack(), encoding="utf-8")
        self.daemon = self._until_the_end(Daemon(self.folder, rack, module))
        self.client = self.stack.enter_context(Client(self.daemon.url(), timeout_s=10.0))  # the machine may be busy
        for bay in BAYS:
            self.packs(bay, more_than=0)
        return self.daemon

    def start_page(self) -> Page:
        """Start the page; returns when it answers."""
        self.page = self._until_the_end(Page(self.folder, self.client.url, free_port()))
        until(lambda: answers(self.page.url), "the page")
        return self.page

    def bay(self, bay: str) -> BayView:
        """A bay as the daemon has it now."""
        return self.client.bay(bay)

    def link(self, bay: str) -> BayLink:
        """What has come over a bay's link."""
        link = self.client.bay(bay).link
        assert link
        return link

    def packs(self, bay: str, more_than: int) -> int:
        """How many packs of a bay have come, as soon as they are more than so many."""

        def look() -> int | None:
            packs = self.link(bay).packs
            return packs if packs > more_than else None

        return until(look, f"more than {more_than} packs of {bay}")

    def soak(self, text: str, bays: Iterable[str] = BAYS) -> None:
        """Start a soak on each of these bays."""
        for bay in bays:
            self.client.soak(bay, SoakOrder(plan=text, number=f"2026-{bay[-1]}", unit=f"MR-25 no. 01{bay[-1]}"))

    def soak_keyed(self, text: str = LONG, bays: Iterable[str] = BAYS) -> None:
        """Start a soak on each of these bays; returns when each twin has said that it is keyed."""
        bays = tuple(bays)
        since = self.twins.mark()
        self.soak(text, bays)
        for bay in bays:
            self.twins.event("key", bay, since, on=True)

    def ended(self, bay: str, wait_s: float = 60.0) -> BayView:
        """The bay once its soak has its verdict."""
        return until(lambda: view if (view := self.bay(bay)).verdict else None, f"the verdict of {bay}", wait_s)

    def kept(self, bay: str) -> JobView:
        """The newest job of a bay, as it is on the disk now."""
        return next(job for job in Reader(self.data).jobs() if job.bay == bay)

    def kept_seqs(self, bay: str) -> list[int]:
        """The counts of the bay's packs on the disk, by time."""
        return [frame.seq for frame in Reader(self.data).frames(bay, 0, 2**63 - 1)]

    def _until_the_end(self, child: C) -> C:
        self.stack.callback(child.end)
        return child

    def _spec(self) -> str:
        text = ""
        for i, bay in enumerate(BAYS):
            port = f'{{ pty = "{self.folder / bay}" }}'
            if bay in MQTT:
                where = f'host = "127.0.0.1", port = {self.broker.port}, rack = "{RACK}", node = "node-{bay}"'
                port = f"{{ mqtt = {{ {where} }} }}"
            # thermal masses so small that seconds show a heating curve
            text += (
                f'[[unit]]\nbay = "{bay}"\nseed = {i + 1}\nrate_hz = {RATE_HZ}\nthermal_scale = 0.02\nport = {port}\n'
            )
        return text

    def _rack(self) -> str:
        text = f'[rack]\nname = "{RACK}"\ndata = "{self.data}"\n[api]\nport = 0\n'
        text += f'[[link]]\nname = "broker"\nkind = "mqtt"\nport = {self.broker.port}\n'
        for bay in self.serial:
            text += f'[[link]]\nname = "line-{bay}"\nkind = "serial"\nport = "{self.folder / bay}"\n'
        for bay in (*self.serial, *MQTT):
            where = f'link = "broker"\nnode = "node-{bay}"' if bay in MQTT else f'link = "line-{bay}"'
            text += f'[[bay]]\nname = "{bay}"\n{where}\nrate_hz = {RATE_HZ}\nlease_s = {self.lease_s}\n{BAY}'
        return text + self.more


def answers(url: str) -> bool:
    """Whether a page answers there."""
    try:
        return httpx.get(url, trust_env=False).is_success
    except httpx.TransportError:
        return False


def free_port() -> int:
    """A port of this machine that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
