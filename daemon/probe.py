"""``keysoak probe``: read each channel once, and say what is wrong with which wire. Nothing is keyed."""

import asyncio
import re
from collections.abc import Callable

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.api.models import BayView
from daemon.config import BayTable, RackFile
from daemon.errors import NoSuch
from daemon.serve import make_link
from sensors.types import BOOLEANS, CHANNELS, INDEX, NAN, UNITS, Frame, Link, Quality
from sensors.wiring import plain_hint

NEEDED = ("heatsink", "drain-1", "supply", "forward")
Raw = dict[tuple[str, str], tuple[float, str]]


def probe(config: RackFile, names: list[str], wait_s: float, say: Callable[[str], object]) -> bool:
    """Print what each channel says; True when every bay that was asked for can be soaked. Raises NoSuch."""
    known = {bay.name: bay for bay in config.bay}
    for name in names:
        if name not in known:
            raise NoSuch("bay", name, list(known))
    wanted = [known[name] for name in names] if names else list(config.bay)
    told = _ask_daemon(config)
    if told is not None:
        # two masters of one node would take each other's key away: where the daemon runs, it is asked
        say(f"The daemon at {_url(config)} holds the links; this is what it reads.\n")
        return all([_tell_view(told[bay.name], bay, say) for bay in wanted])
    raw: Raw = {}
    frames, links = asyncio.run(_listen(config, wanted, wait_s, raw))
    good = [_tell(bay, frames.get(bay.name), links[bay.link], raw, say) for bay in wanted]
    return all(good)


async def _listen(
    config: RackFile, wanted: list[BayTable], wait_s: float, raw: Raw
) -> tuple[dict[str, Frame], dict[str, Link]]:
    frames: dict[str, Frame] = {}
    names = {bay.name for bay in wanted}
    all_heard = asyncio.Event()

    def observe(bay: str, channel: str, unit: str, value: float, _got: float, _quality: Quality) -> None:
        raw[bay, channel] = (value, unit)

    def deliver(frame: Frame) -> None:
        frames.setdefault(frame.bay, frame)
        if names <= frames.keys():
            all_heard.set()

    used = {bay.link for bay in wanted}
    links = {table.name: make_link(config, table, observe) for table in config.link if table.name in used}
    async with asyncio.TaskGroup() as tasks:
        running = [tasks.create_task(link.run(deliver), name=f"link {name}") for name, link in links.items()]
        try:
            async with asyncio.timeout(wait_s):
                await all_heard.wait()
        except TimeoutError:
            pass  # what was not heard is told bay by bay
        for task in running:
            task.cancel()
    return frames, links


def _tell(bay: BayTable, frame: Frame | None, link: Link, raw: Raw, say: Callable[[str], object]) -> bool:
    if frame is None:
        say(f"{bay.name}: nothing is heard. {_why_silent(bay, link)}")
        return False
    rows = []
    for channel, index in INDEX.items():
        value, unit = raw.get((bay.name, channel), (NAN, ""))
        sent = f"{value:g} {unit}".strip() if (bay.name, channel) in raw else "–"
        rows.append((channel, sent, Quality(frame.quality[index]), frame.values[index]))
    return _tell_rows(bay, rows, say)


def _tell_view(view: BayView, bay: BayTable, say: Callable[[str], object]) -> bool:
    if view.stale:
        why = view.link.last_error if view.link else ""
        say(f"{bay.name}: nothing is heard{f' for {view.age_s:.0f} s' if view.age_s else ''}. {why}")
        return False
    got = {reading.channel: reading for reading in view.readings}
    rows = []
    for channel in CHANNELS:
        reading = got.get(channel)
        quality = Quality[reading.quality.upper()] if reading else Quality.MISSING
        rows.append((channel, "", quality, NAN if reading is None or reading.value is None else reading.value))
    return _tell_rows(bay, rows, say)


def _tell_rows(bay: BayTable, rows: list[tuple[str, str, Quality, float]], say: Callable[[str], object]) -> bool:
    table = Table(title=bay.name, title_justify="left", box=SIMPLE_HEAD, show_edge=False, pad_edge=False)
    table.add_column("channel")
    table.add_column("sent", justify="right")
    table.add_column("reads", justify="right")
    table.add_column("what to look at")
    good = True
    for channel, sent, quality, value in rows:
        if quality is Quality.MISSING and channel not in NEEDED and channel not in bay.channel:
            continue
        good = good and (quality in (Quality.GOOD, Quality.BELOW) or channel not in NEEDED)
        unit = "" if channel in BOOLEANS else f" {UNITS[channel]}"
        reads = f"{value:.4g}{unit}" if quality is Quality.GOOD else quality.name.lower()
        if quality is Quality.GOOD and channel in BOOLEANS:
            reads = "yes" if value else "no"
        look = "" if quality is Quality.GOOD else escape(_look(bay, channel, quality))
        table.add_row(channel, sent, reads, look)
    console = Console(width=120)
    with console.capture() as text:
        console.print(table)
    say(re.sub(r" +$", "", text.get(), flags=re.MULTILINE))
    return good


def _look(bay: BayTable, channel: str, quality: Quality) -> str:
    conversion = bay.channel.get(channel)
    if conversion:
        return conversion.wire_hint(quality)
    hint = plain_hint(channel, quality)
    return f"{hint}, or add [bay.channel.{channel}] to rack.toml" if quality is Quality.REFUSED else hint


def _why_silent(bay: BayTable, link: Link) -> str:
    stats = link.stats
    if not stats.connected:
        return f"Link {link.name} is not connected: {stats.last_error or 'no answer'}."
    if stats.crc_failures:
        return (
            f"Link {link.name}: {stats.crc_failures} lines with a wrong CRC or none: look at baud rate, ground and "
            'cable; crc = "off" admits lines without one.'
        )
    if stats.refused:
        return f"Link {link.name}: {stats.refused} packs refused, the last because {stats.last_error}."
    if stats.strangers:
        return f"Link {link.name} carries packs, but of another bay: is the node's base name {bay.name}/ ?"
    return f"Link {link.name} is connected but silent: is the node powered, and is its line the right one?"


def _ask_daemon(config: RackFile) -> dict[str, BayView] | None:
    try:
        with Client(_url(config), timeout_s=1.0) as client:
            rack = client.rack()
    except ApiError:
        return None
    told = {view.bay: view for view in rack.bays}
    return told if rack.rack == config.rack.name and all(bay.name in told for bay in config.bay) else None


def _url(config: RackFile) -> str:
    return f"http://{config.api.host}:{config.api.port}"
