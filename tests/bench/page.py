"""How long a frame, and a trip, take from the wire to the page, and what the dashboard costs.

``.venv/bin/python tests/bench/page.py [--bays 64] [--seconds 30]``, and ``--tabs --bays 8`` for five tabs: a real
broker, daemon, dashboard and Chromium, each a process of its own; a light generator in the place of the nodes. Asked
for: p95 of 500 ms at 64 bays x 2 Hz; five tabs at eight bays at most 25 % of a core; first load of the rack at most
1.2 MB, live within 2 s.
"""

import argparse
import asyncio
import contextlib
import logging
import os
import random
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import aiomqtt
from playwright.async_api import Browser, CDPSession, Page, async_playwright

from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.api.models import SoakOrder

# ruff: noqa: T201  what it measures is printed

HOST, RATE_HZ = "127.0.0.1", 2.0
#: at rest, so that nothing is keyed; two packs with too much current trip all the same, and the second one tells
PLAN = '[[phase]]\ndrive = "off"\nminutes = 60\n[limits]\nover_current_dwell_s = 0.1\nstuck_key_dwell_s = 60\n'
TRIPS = 32
TICKS = os.sysconf("SC_CLK_TCK")

#: what the page shows of each bay's heatsink, with the moment of the picture that shows it
WATCH = """() => {
  window.seen = [];
  const look = (shelf) => {
    const bay = shelf.getAttribute("aria-label").slice(4), text = shelf.querySelector(".big").textContent;
    requestAnimationFrame(() => window.seen.push([bay, text, performance.timeOrigin + performance.now()]));
  };
  new MutationObserver((all) => {
    for (const one of all) {
      const big = one.target.closest?.(".big") ?? one.target.parentElement?.closest(".big");
      const shelf = big?.closest(".shelf");
      if (shelf && shelf.querySelector(".big") === big) look(shelf);
    }
  }).observe(document.getElementById("rack"), { subtree: true, childList: true, characterData: true });
}"""


class Nodes:
    """Says a frame of every bay twice a second, each at its own moment, and remembers when it said what."""

    def __init__(self, bays: int, port: int) -> None:
        self._bays, self._port = bays, port
        self.said: dict[tuple[str, str], float] = {}
        self.to_trip: dict[int, int] = {}  # how many packs with too much current a node has still to say
        self.told: dict[str, float] = {}  # when the one that tells was said

    async def run(self) -> None:
        """Until cancelled."""
        async with aiomqtt.Client(HOST, self._port, identifier="nodes") as client:
            for i in range(self._bays):
                await client.publish(f"keysoak/rack-1/node-{i}/presence", b"online", qos=1, retain=True)
            async with asyncio.TaskGroup() as tasks:
                for i in range(self._bays):
                    tasks.create_task(self._node(client, i))

    async def _node(self, client: aiomqtt.Client, i: int) -> None:
        due_s = time.monotonic() + i / self._bays / RATE_HZ
        for seq in range(1_000_000):
            await asyncio.sleep(max(0.0, due_s - time.monotonic()))
            due_s += 1 / RATE_HZ
            heat = f"{22 + (seq % 380) / 10:.1f}"
            now_s = time.time()
            self.said[f"bay-{i}", heat] = now_s
            left = self.to_trip.get(i, 0)
            if left:
                self.to_trip[i] = left - 1
                self.told[f"bay-{i}"] = now_s
            pack = _pack(i, now_s, heat, seq, 9.0 if left else 0.0)
            await client.publish(f"keysoak/rack-1/node-{i}/readings", pack, qos=0)


def _pack(i: int, now_s: float, heat: str, seq: int, drain_a: float) -> bytes:
    plain = "".join(
        f',{{"n":"{n}","u":"{u}","v":{v}}}'
        for n, u, v in (("drain-1", "A", drain_a), ("drain-2", "A", 0.0), ("supply", "V", 13.8), ("forward", "W", 0.0))
    )
    head = f'[{{"bn":"bay-{i}/","bt":{now_s:.3f},"n":"heatsink","u":"Cel","v":{heat}}}'
    return f'{head}{plain},{{"n":"key","vb":false}},{{"n":"seq","v":{seq}}}]'.encode()


class Rig:
    """Broker, daemon and dashboard, each a process; ``start`` and ``stop`` by name."""

    def __init__(self, folder: Path, bays: int) -> None:
        self.folder = folder
        self.broker_port, self.api_port, self.page_port = (free_port() for _ in range(3))
        (folder / "broker.conf").write_text(
            f"listener {self.broker_port} {HOST}\nallow_anonymous true\nset_tcp_nodelay true\n"
            + ("user root\n" if os.geteuid() == 0 else "")
        )
        link = f'[[link]]\nname = "broker"\nkind = "mqtt"\nport = {self.broker_port}\n'
        tables = "".join(f'[[bay]]\nname = "bay-{i}"\nlink = "broker"\nnode = "node-{i}"\n' for i in range(bays))
        (folder / "rack.toml").write_text(f'[rack]\nname = "rack-1"\n[api]\nport = {self.api_port}\n{link}{tables}')
        self.api, self.page = f"http://{HOST}:{self.api_port}", f"http://{HOST}:{self.page_port}"
        self._words = {
            "broker": ["mosquitto", "-c", str(folder / "broker.conf")],
            "daemon": [sys.executable, "-m", "daemon.cli.main", "serve", "--rack", str(folder / "rack.toml")],
            "dashboard": [sys.executable, "-m", "dashboard", "--api", self.api, "--port", str(self.page_port)],
        }
        self.running: dict[str, subprocess.Popen[bytes]] = {}

    def start(self, name: str) -> None:
        """Start one; returns when it answers."""
        env = dict(os.environ, PATH=f"{os.environ['PATH']}:/usr/sbin")
        with (self.folder / f"{name}.log").open("ab") as log:
            self.running[name] = subprocess.Popen(self._words[name], stdout=log, stderr=log, env=env)
        port = {"broker": self.broker_port, "daemon": self.api_port, "dashboard": self.page_port}[name]
        for _ in range(1200):  # a machine may be busy
            with contextlib.suppress(OSError), socket.create_connection((HOST, port), timeout=1):
                return
            time.sleep(0.05)
        raise SystemExit(f"{name} did not start:\n{(self.folder / f'{name}.log').read_text()[-2000:]}")

    def stop(self, name: str) -> None:
        """End one."""
        process = self.running.pop(name)
        process.terminate()
        process.wait(15)

    def kill(self, name: str) -> None:
        """End one as a power cut does."""
        process = self.running.pop(name)
        process.kill()
        process.wait(15)

    def cpu_s(self, name: str) -> float:
        """How much processor time it has taken so far."""
        fields = Path(f"/proc/{self.running[name].pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / TICKS


def free_port() -> int:
    """A port that is free now, and that no other program is given while what listens there is gone for a while."""
    given = Path("/proc/sys/net/ipv4/ip_local_port_range")  # Linux gives programs that ask for any port one of these
    below = int(given.read_text().split()[0]) if given.exists() else 32_768
    while True:
        port = random.randrange(10_000, below)
        with contextlib.suppress(OSError), socket.create_server((HOST, port)):
            return port


@contextlib.contextmanager
def rig(bays: int) -> Iterator[Rig]:
    """All three running."""
    with tempfile.TemporaryDirectory(prefix="keysoak-bench-") as folder:
        made = Rig(Path(folder), bays)
        try:
            for name in ("broker", "daemon", "dashboard"):
                made.start(name)
            yield made
        finally:
            for name in reversed(list(made.running)):
                made.stop(name)


async def soak_all(rig: Rig, bays: int) -> None:
    """Every bay on a plan at rest, so that strips grow and nothing is keyed."""
    with Client(rig.api) as client:
        for i in range(bays):
            for _ in range(100):
                with contextlib.suppress(ApiError):
                    await asyncio.to_thread(client.soak, f"bay-{i}", SoakOrder(plan=PLAN))
                    break
                await asyncio.sleep(0.1)


async def opened(browser: Browser, rig: Rig) -> tuple[Page, float, float]:
    """The rack page; seconds until it was live, and bytes that came over the wire."""
    context = await browser.new_context(viewport={"width": 1280, "height": 900})
    tab = await context.new_page()
    net = await context.new_cdp_session(tab)
    total = [0.0]
    net.on("Network.loadingFinished", lambda said: total.__setitem__(0, total[0] + said["encodedDataLength"]))
    await net.send("Network.enable")
    began_s = time.monotonic()
    await tab.goto(rig.page, wait_until="commit")
    await tab.wait_for_function("() => /\\d/.test(document.querySelector('.shelf .big')?.textContent ?? '')")
    live_s = time.monotonic() - began_s
    await asyncio.sleep(2)
    return tab, live_s, total[0]


async def wire_to_page(browser: Browser, rig: Rig, nodes: Nodes, seconds: float) -> None:
    """The main figure."""
    tab, live_s, wire_bytes = await opened(browser, rig)
    print(f"first load: {wire_bytes / 1e6:.3f} MB on the wire, live after {live_s:.2f} s")
    before = {name: rig.cpu_s(name) for name in ("daemon", "dashboard")}
    await tab.evaluate(WATCH)
    nodes.said.clear()
    session = await tab.context.new_cdp_session(tab)
    await session.send("Performance.enable")
    work = await worked_s(session)
    await asyncio.sleep(seconds)
    parts = {name: (after - work[name]) / seconds for name, after in (await worked_s(session)).items()}
    cpu = {name: (rig.cpu_s(name) - before[name]) / seconds for name in before}
    seen = await tab.evaluate("() => window.seen")
    delays_ms = sorted(at_ms - nodes.said[bay, text] * 1e3 for bay, text, at_ms in seen if (bay, text) in nodes.said)
    shown = len({(bay, text) for bay, text, _ in seen})
    n = len(delays_ms)
    if not n:
        raise SystemExit("the page showed no frame")
    print(
        f"wire to page: p50 {delays_ms[n // 2]:.0f} ms, p95 {delays_ms[int(n * 0.95)]:.0f} ms, "
        f"p99 {delays_ms[int(n * 0.99)]:.0f} ms, max {delays_ms[-1]:.0f} ms; {shown} of {len(nodes.said)} frames shown"
    )
    print(f"cpu, one tab: daemon {cpu['daemon']:.1%}, dashboard {cpu['dashboard']:.1%} of a core")
    print("the page's own work, of a core: " + ", ".join(f"{name} {part:.1%}" for name, part in parts.items()))
    await tab.context.close()


TRIPPED = """() => { window.tripped = []; new MutationObserver((all) => {
  for (const { target } of all) if (target.matches('.shelf.is-tripped') && !target.counted) {
    target.counted = true;
    const bay = target.getAttribute("aria-label").slice(4);
    requestAnimationFrame(() => window.tripped.push([bay, performance.timeOrigin + performance.now()]));
  }
}).observe(document.getElementById("rack"), { subtree: true, attributes: true, attributeFilter: ["class"] }); }"""


async def trips(browser: Browser, rig: Rig, nodes: Nodes, bays: int) -> None:
    """From the pack that tells, on the wire, to the page that says "tripped", while all other bays go on."""
    tab, _, _ = await opened(browser, rig)
    await tab.evaluate(TRIPPED)
    for i in range(bays):
        nodes.to_trip[i] = 2
        await asyncio.sleep(1.0)  # each also seals a job, in a process of its own
    await tab.wait_for_function("(n) => window.tripped.length >= n", arg=bays, timeout=20_000)
    delays_ms = sorted(at_ms - nodes.told[bay] * 1e3 for bay, at_ms in await tab.evaluate("() => window.tripped"))
    n = len(delays_ms)
    p50, p95 = delays_ms[n // 2], delays_ms[int(n * 0.95)]
    print(f"trip, wire to page: p50 {p50:.0f} ms, p95 {p95:.0f} ms, max {delays_ms[-1]:.0f} ms; {n} trips")
    await tab.context.close()


async def worked_s(session: CDPSession) -> dict[str, float]:
    """For how long the page's main thread has worked so far, and at what."""
    said = await session.send("Performance.getMetrics")
    names = ("TaskDuration", "ScriptDuration", "LayoutDuration", "RecalcStyleDuration")
    return {m["name"].removesuffix("Duration").lower(): m["value"] for m in said["metrics"] if m["name"] in names}


async def five_tabs(browser: Browser, rig: Rig, seconds: float) -> None:
    """What five tabs cost the dashboard."""
    tabs = [(await opened(browser, rig))[0] for _ in range(5)]
    before_s = rig.cpu_s("dashboard")
    await asyncio.sleep(seconds)
    print(f"cpu, five tabs: dashboard {(rig.cpu_s('dashboard') - before_s) / seconds:.1%} of a core")
    for tab in tabs:
        await tab.context.close()


async def main() -> None:
    """Measure, and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    logging.getLogger("mqtt").setLevel(logging.ERROR)  # aiomqtt tells of every publication that waits
    words.add_argument("--bays", type=int, default=64)
    words.add_argument("--seconds", type=float, default=30.0)
    words.add_argument("--tabs", action="store_true", help="five tabs instead of one page watched")
    given = words.parse_args()
    with rig(given.bays) as made:
        nodes = Nodes(given.bays, made.broker_port)
        speaking = asyncio.create_task(nodes.run())
        await soak_all(made, given.bays)
        async with async_playwright() as playwright:
            browser = await playwright.chromium.launch(
                executable_path="/usr/bin/chromium", args=["--no-sandbox"] if os.geteuid() == 0 else []
            )
            print(
                f"{given.bays} bays x {RATE_HZ:g} Hz, load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
            )
            if given.tabs:
                await five_tabs(browser, made, given.seconds)
            else:
                await wire_to_page(browser, made, nodes, given.seconds)
                await trips(browser, made, nodes, min(given.bays, TRIPS))
            await browser.close()
        speaking.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await speaking


if __name__ == "__main__":
    asyncio.run(main())
