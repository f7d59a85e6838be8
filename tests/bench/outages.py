"""How soon a page is loud, and well again, when the dashboard, the daemon or the network is gone for a while.

``.venv/bin/python -m tests.bench.outages [--outage 3 --outage 60 --outage 300] [--what network]``: eight bays, a real
broker, daemon, dashboard and Chromium. Dashboard and daemon are killed. The network is a wire of ours between browser
and dashboard that stops carrying bytes and closes nothing, as a cable that is pulled does. Asked for: loud within 3 s,
healed within 3 s, after any outage.
"""

import argparse
import asyncio
import contextlib
import logging
import os
import time
from collections.abc import AsyncIterator

import httpx
from playwright.async_api import Page, async_playwright

from tests.bench.page import HOST, Nodes, Rig, opened, rig, soak_all

# ruff: noqa: T201  what it measures is printed

LOUD = "() => document.getElementById('outage').classList.contains('shown')"
BAYS = 8
WHAT = ("dashboard", "daemon", "network")
START_S = 60.0


class Wire:
    """Carries bytes between a browser and the dashboard; while it is cut nothing comes through, and nothing closes."""

    def __init__(self, to: int) -> None:
        self._to = to
        self._whole = asyncio.Event()
        self._whole.set()
        self.port = 0

    def cut(self) -> None:
        """Pull it."""
        self._whole.clear()

    def mend(self) -> None:
        """Plug it in again."""
        self._whole.set()

    @contextlib.asynccontextmanager
    async def carrying(self) -> AsyncIterator[None]:
        """As long as it is there."""
        server = await asyncio.start_server(self._carry, HOST, 0)
        self.port = server.sockets[0].getsockname()[1]
        try:
            yield
        finally:
            server.close()

    async def _carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            await self._whole.wait()
            there, back = await asyncio.open_connection(HOST, self._to)
            await asyncio.gather(self._one_way(reader, back), self._one_way(there, writer))

    async def _one_way(self, source: asyncio.StreamReader, sink: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            while piece := await source.read(65536):
                await self._whole.wait()
                sink.write(piece)
                await sink.drain()
        sink.close()


def answers(made: Rig, what: str) -> None:
    """Returns when it does: a port may be open long before, on a busy machine."""
    url, end_s = f"{made.api}/v1/health" if what == "daemon" else made.page, time.monotonic() + START_S
    with httpx.Client(trust_env=False, timeout=2.0) as client:
        while time.monotonic() < end_s:
            with contextlib.suppress(httpx.HTTPError):
                if client.get(url).is_success:
                    return
            if made.running[what].poll() is not None:
                break
            time.sleep(0.02)
    raise SystemExit(f"{what} does not answer any more:\n{(made.folder / f'{what}.log').read_text()[-2000:]}")


async def out(tab: Page, what: str, outage_s: float, wire: Wire, made: Rig) -> None:
    """One outage."""
    began_s = time.monotonic()
    if what == "network":
        wire.cut()
    else:
        made.kill(what)
    await tab.wait_for_function(LOUD, timeout=20_000)
    loud_s = time.monotonic() - began_s
    await asyncio.sleep(max(0.0, outage_s - loud_s))
    if what == "network":
        wire.mend()
    else:
        await asyncio.to_thread(made.start, what)
        await asyncio.to_thread(answers, made, what)
    began_s = time.monotonic()
    await tab.wait_for_function(f"() => !({LOUD})()", timeout=60_000)
    healed_s = time.monotonic() - began_s
    print(
        f"{what} gone for {outage_s:g} s: loud after {loud_s:.1f} s, healed {healed_s:.1f} s after it was back",
        flush=True,
    )


async def main() -> None:
    """Measure, and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    logging.getLogger("mqtt").setLevel(logging.ERROR)  # aiomqtt tells of every publication that waits
    words.add_argument("--outage", type=float, action="append", help="seconds; 3, 60 and 300 if left out")
    words.add_argument("--what", choices=WHAT, action="append", help="what is gone; all three if left out")
    given = words.parse_args()
    with rig(BAYS) as made:
        nodes = Nodes(BAYS, made.broker_port)
        speaking = asyncio.create_task(nodes.run())
        await soak_all(made, BAYS)
        wire = Wire(made.page_port)
        async with wire.carrying(), async_playwright() as playwright:
            made.page = f"http://{HOST}:{wire.port}"
            browser = await playwright.chromium.launch(
                executable_path="/usr/bin/chromium", args=["--no-sandbox"] if os.geteuid() == 0 else []
            )
            print(f"{BAYS} bays, load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
            tab, _, _ = await opened(browser, made)
            for outage_s in given.outage or (3.0, 60.0, 300.0):
                for what in given.what or WHAT:
                    await out(tab, what, outage_s, wire, made)
            await browser.close()
        speaking.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await speaking


if __name__ == "__main__":
    asyncio.run(main())
