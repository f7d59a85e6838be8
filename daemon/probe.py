"""``keysoak probe``: read each channel once, and say what is wrong with which wire. Nothing is keyed."""

import asyncio
from collections.abc import Callable

from rich.console import Console
from rich.table import Table

from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.config import BayTable, RackFile
from daemon.errors import NoSuch
from daemon.serve import make_link
from sensors.types import INDEX, UNITS, Frame, Link, Quality
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
    raw: Raw = {}
    frames, links = asyncio.run(_listen(config, wanted, wait_s, raw))
    good = [_tell(bay, frames.get(bay.name), links[bay.link], raw, config, say) for bay in wanted]
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


def _tell(
    bay: BayTable, frame: Frame | None, link: Link, raw: Raw, config: RackFile, say: Callable[[str], object]
) -> bool:
    if frame is None:
        say(f"{bay.name}: nothing is heard. {_why_silent(bay, link, config)}")
        return False
    table = Table(title=bay.name, title_justify="left", show_edge=False, pad_edge=False)
    for head, justify in (("channel", "left"), ("sent", "right"), ("reads", "right"), ("", "left")):
        table.add_column(head, justify="right" if justify == "right" else "left")
    good = True
    for channel, index in INDEX.items():
        quality = Quality(frame.quality[index])
        if quality is Quality.MISSING and channel not in NEEDED and channel not in bay.channel:
            continue
        value, unit = raw.get((bay.name, channel), (float("nan"), ""))
        sent = f"{value:g} {unit}".strip() if unit or value == value else "–"
        ok = quality in (Quality.GOOD, Quality.BELOW)
        good = good and (ok or channel not in NEEDED)
        reads = f"{frame.values[index]:.4g} {UNITS[channel]}" if quality is Quality.GOOD else quality.name.lower()
        table.add_row(channel, sent, reads, "" if quality is Quality.GOOD else _look(bay, channel, quality))
    console = Console(width=110)
    with console.capture() as text:
        console.print(table)
    say(text.get())
    return good


def _look(bay: BayTable, channel: str, quality: Quality) -> str:
    conversion = bay.channel.get(channel)
    return conversion.wire_hint(quality) if conversion else plain_hint(channel, quality)


def _why_silent(bay: BayTable, link: Link, config: RackFile) -> str:
    stats = link.stats
    if not stats.connected:
        held = _held_by_daemon(config)
        return f"Link {link.name} is not connected: {stats.last_error or 'no answer'}.{held}"
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


def _held_by_daemon(config: RackFile) -> str:
    try:
        with Client(f"http://{config.api.host}:{config.api.port}", timeout_s=1.0) as client:
            client.health()
    except ApiError:
        return ""
    return " The daemon is running and holds it: see the bay's page, or stop the daemon first."
