"""The screenshots that the README shows: a demo with its earlier jobs, run until there is something to see.

Called by ``deploy/shots.sh``. Nothing is staged: the states are those that the simulated radios have come to.
"""

import io
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal, NamedTuple

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.api.models import BayStatus

READY = re.compile(r"the rack is live at (\S+)\s+\(API: (\S+),")
START_S, TRIPS_S = 300.0, 900.0
#: a README is read over slow lines too
MOST_BYTES = 150_000
COLOURS = 255


class Shot(NamedTuple):
    """A picture: its file's name, the page, what must be on it, and how it is looked at."""

    name: str
    path: str
    shows: str
    width: int
    height: int
    scheme: Literal["light", "dark"] = "light"


SHOTS = (
    Shot("rack", "/", ".is-tripped .edge-card", 1280, 800),
    Shot("rack-phone", "/", ".is-tripped .edge-card", 390, 844, "dark"),
    Shot("job", "/job/4", ".js-plotly-plot .scatterlayer .trace", 1280, 1000),
    Shot("side-by-side", "/compare?jobs=4,6", ".js-plotly-plot .scatterlayer .trace", 1280, 960),
)


@contextmanager
def demo(folder: Path) -> Iterator[tuple[str, str]]:
    """The demo's page and its API, by their addresses."""
    log = folder / "demo.log"
    words = [sys.executable, "-m", "daemon.cli.main", "demo", "--port", "0", "--data", str(folder / "readings")]
    with log.open("w") as out:
        process = subprocess.Popen(words, stdout=out, stderr=out)
    try:
        until_s = time.monotonic() + START_S
        while (found := READY.search(log.read_text())) is None:
            if process.poll() is not None or time.monotonic() > until_s:
                raise SystemExit(f"the demo did not come up:\n{log.read_text()}")
            time.sleep(0.2)
        yield found[1], found[2]
    finally:
        process.terminate()
        process.wait(20)


def wait_for_trips(api: str) -> None:
    """Until both radios that carry a fault were unkeyed, while the others still soak."""
    until_s = time.monotonic() + TRIPS_S
    with Client(api) as client:
        while True:
            try:
                found = [bay.status for bay in client.rack().bays]
            except ApiError:
                found = []
            if found.count(BayStatus.TRIPPED) >= 2:
                return
            if time.monotonic() > until_s:
                raise SystemExit(f"no two radios tripped within {TRIPS_S:.0f} s: {', '.join(found)}")
            time.sleep(1.0)


def take(browser: Browser, page: str, shot: Shot) -> bytes:
    """One picture, with few colours: a screen of paper and ink needs no more."""
    size = {"width": shot.width, "height": shot.height}
    context = browser.new_context(viewport=size, color_scheme=shot.scheme, locale="en-GB", timezone_id="UTC")  # type: ignore[arg-type]
    tab = context.new_page()
    tab.goto(page + shot.path)
    tab.locator(shot.shows).first.wait_for(timeout=30_000)
    tab.wait_for_timeout(1500)  # a chart is drawn in parts, and a beam swings until it rests
    png = tab.screenshot()
    context.close()
    out = io.BytesIO()
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    picture.quantize(COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


def main(folder: Path) -> None:
    """Make them all."""
    folder.mkdir(parents=True, exist_ok=True)
    # Chromium's own sandbox will not start for root
    words = ["--no-sandbox"] if os.geteuid() == 0 else []
    with tempfile.TemporaryDirectory(prefix="keysoak-shots-") as temporary, demo(Path(temporary)) as (page, api):
        print(f"keysoak: the demo runs at {page}; waiting until two radios have tripped")  # noqa: T201
        wait_for_trips(api)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=words)
            for shot in SHOTS:
                png = take(browser, page, shot)
                if len(png) > MOST_BYTES:
                    raise SystemExit(f"{shot.name}: {len(png)} bytes, more than {MOST_BYTES}: crop it or drop colours")
                (folder / f"{shot.name}.png").write_bytes(png)
                print(f"keysoak: {folder / shot.name}.png, {len(png) / 1000:.0f} kB")  # noqa: T201
            browser.close()


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("stopped"))  # so that the demo ends too
    main(Path(sys.argv[1]))
