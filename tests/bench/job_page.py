"""How soon the page of a 24-hour job (10 Hz, nine channels) opens in Chromium, zooms, and gives the job away as files.

``.venv/bin/python -m tests.bench.job_page [--only open] [--only zoom] [--only files] [--only all-points]``: a real
daemon, dashboard and Chromium over a job of 864 000 frames with a spike of one sample. Asked for: open in 1.5 s, 300 ms
of it on the server, at most 4000 points a trace, finer data in 300 ms, the spike visible at every zoom. Last, the same
page with all points sent, as the ratio. Takes about three minutes, and as long again as ``--all-points-s``.
"""

import argparse
import contextlib
import os
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import httpx
import uvicorn
from fastapi import FastAPI
from fastapi import Response as Answer
from playwright.sync_api import Browser, Page, Response, sync_playwright
from playwright.sync_api import TimeoutError as TooLong

import dashboard.app
from daemon.api.client import Client
from daemon.store import Reader, zoom
from dashboard.ahead import POINTS
from tests.bench.curves import HOURS, RATE_HZ, SPIKE, built
from tests.bench.page import HOST, Rig, free_port

# ruff: noqa: T201  what it measures is printed

PARTS = ("open", "zoom", "files", "all-points")
#: how long a window has stood when a page is opened in it, and a page when it is zoomed
STOOD_S, REST_S = 2.0, 1.0
DRAWN = """() => new Promise((done) => {
  const look = () => document.querySelector('.js-plotly-plot .scatterlayer .trace path.js-line')
    ? requestAnimationFrame(() => setTimeout(() => done(performance.timeOrigin + performance.now())))
    : setTimeout(look, 5);
  look();
})"""
#: zoom as a drag on the chart does; the moment, in milliseconds of the epoch, at which the finer line stands there
ZOOM = """([from, to]) => new Promise((done) => {
  const plot = document.querySelector('.js-plotly-plot');
  Plotly.relayout(plot, { 'xaxis.range[0]': from, 'xaxis.range[1]': to });
  const look = () => {
    const { x } = plot.data.find((d) => d.name === 'heatsink');
    if (x[0] < from - 0.1 || x.at(-1) > to + 0.1) return setTimeout(look, 5);
    requestAnimationFrame(() => setTimeout(() => done(performance.timeOrigin + performance.now())));
  };
  look();
})"""
SEEN = """() => { const line = document.querySelector('.js-plotly-plot').data.find((d) => d.name === 'heatsink');
  return [Math.max(...line.y.filter((v) => v !== null)), line.y.length]; }"""


def opened(browser: Browser, url: str, limit_s: float = 60.0, stood_s: float = 0.0) -> tuple[Page, float]:
    """The job's page in a browser that has nothing of it, and the seconds until its curves stood on it.

    ``stood_s``: how long its window has stood by then; one that has only just been opened still works at itself, a
    processor's second and a quarter of it in processes of its own.
    """
    tab = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    tab.set_default_timeout(limit_s * 1000)
    time.sleep(stood_s)
    began_s = time.time()
    tab.goto(url, wait_until="commit")
    return tab, tab.evaluate(DRAWN) / 1e3 - began_s


def again(tab: Page) -> float:
    """The same with the browser's own cache warm."""
    began_s = time.time()
    tab.reload(wait_until="commit")
    return float(tab.evaluate(DRAWN)) / 1e3 - began_s


def zoomed(tab: Page, wide_s: float) -> tuple[float, float, int]:
    """Seconds until finer data had come, and until it was drawn; and how many points the heatsink's line has."""
    middle_min = SPIKE / RATE_HZ / 60
    half_min = wide_s / 120
    answers: list[float] = []

    def note(answer: Response) -> None:
        if "_dash-update-component" in answer.url:
            answers.append(time.time())

    tab.on("response", note)
    began_s = time.time()
    drawn_s = tab.evaluate(ZOOM, [middle_min - half_min, middle_min + half_min]) / 1e3 - began_s
    tab.remove_listener("response", note)
    highest, points = tab.evaluate(SEEN)
    assert highest == 99.5, f"the spike is gone at {wide_s:g} s"
    return (answers[-1] - began_s if answers else drawn_s), drawn_s, points


def download(tab: Page, word: str) -> tuple[float, str]:
    """How long a file takes, and what the page says of it; its progress must have been seen on the way."""
    began_s = time.time()
    with tab.expect_download(timeout=300_000) as given:
        tab.get_by_role("link", name=word, exact=True).click()
        tab.locator(".download-said progress").wait_for()
    given.value.path()
    return time.time() - began_s, tab.locator(".download-said").inner_text()


@contextlib.contextmanager
def whole(data: Path) -> Iterator[str]:
    """A dashboard of this process that is told all points, by an API that has no more to say than that."""
    store, api = Reader(data), FastAPI()

    @api.get("/v1/jobs/{job}")
    def job_of(job: int) -> Answer:
        return Answer(store.job(job).model_dump_json(), media_type="application/json")

    @api.get("/v1/jobs/{job}/curves")
    def curves(job: int) -> Answer:
        return Answer(store.curves(job, points=10**9).model_dump_json(), media_type="application/json")

    ports = free_port(), free_port()
    most, zoom.MOST_FRAMES = zoom.MOST_FRAMES, 10**9
    # its own gives a question up after ten seconds
    with patch("dashboard.app.Client", lambda url, timeout_s=3.0: Client(url, 60 * timeout_s)):
        apps = (api, ports[0]), (dashboard.app.build(f"http://{HOST}:{ports[0]}"), ports[1])
    servers = [uvicorn.Server(uvicorn.Config(app, host=HOST, port=port, log_level="error")) for app, port in apps]
    threads = [threading.Thread(target=server.run, daemon=True) for server in servers]
    for thread in threads:
        thread.start()
    try:
        yield f"http://{HOST}:{ports[1]}"
    finally:
        zoom.MOST_FRAMES = most
        for server in servers:
            server.should_exit = server.force_exit = True


def served(api: str, job: int) -> None:
    """How long the server takes for a whole job's curves."""

    def asked(path: str) -> float:
        began_s = time.perf_counter()
        httpx.get(f"{api}/v1/jobs{path}", trust_env=False, timeout=60).raise_for_status()
        return (time.perf_counter() - began_s) * 1e3

    up_ms, path = asked(""), f"/{job}/curves?points={POINTS}"
    first_ms = asked(path)
    rest_ms = statistics.median(asked(path) for _ in range(7))
    print(f"server, whole job: {rest_ms:.0f} ms (first {first_ms:.0f}, {up_ms:.0f} ms after the start)")


def opens(browser: Browser, url: str, times: int) -> float:
    """Open the page in new browsers, and again; the seconds that the first takes in a window that stands."""
    median_s = 0.0
    for stood_s, words in ((0.0, "in a window that is just being opened"), (STOOD_S, "in one that stands")):
        took_s: list[float] = []
        for _ in range(times):
            tab, s = opened(browser, url, stood_s=stood_s)
            took_s.append(s)
            tab.context.close()
        median_s = statistics.median(took_s)
        print(f"opened, nothing kept, {words}: {median_s:.2f} s (all: {', '.join(f'{s:.2f}' for s in took_s)})")
    tab, _ = opened(browser, url)
    took_s = [again(tab) for _ in range(times)]
    print(f"again: {statistics.median(took_s):.2f} s (all: {', '.join(f'{s:.2f}' for s in took_s)})")
    tab.context.close()
    return median_s


def zooms(tab: Page, times: int) -> None:
    """From the whole soak to a part of it around the spike."""
    print(f"heatsink's line: {tab.evaluate(SEEN)[1]} points, the spike among them")
    for wide_s in (6 * 3600, 3600, 300, 60):
        found = []
        for _ in range(times):
            again(tab)
            time.sleep(REST_S)
            found.append(zoomed(tab, wide_s))
        came_ms, drawn_ms = (statistics.median(one[i] for one in found) * 1e3 for i in (0, 1))
        each = ", ".join(f"{one[0] * 1e3:.0f}" for one in found)
        took = f"data after {came_ms:.0f} ms (all: {each}), drawn after {drawn_ms:.0f} ms"
        print(f"zoom to {wide_s:>5} s: {took}, {found[0][2]} points")


def main() -> None:
    """Measure, and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    words.add_argument("--times", type=int, default=5, help="how often a page is opened, or zoomed; the median counts")
    words.add_argument("--only", choices=PARTS, action="append", help="one part alone")
    words.add_argument("--all-points-s", type=float, default=120.0, help="how long to wait for all points")
    words.add_argument("--folder", type=Path, help="where the job is kept for the next run; made if it is not there")
    given = words.parse_args()
    parts = given.only or PARTS
    with contextlib.ExitStack() as stack:
        folder = given.folder or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="keysoak-bench-")))
        folder.mkdir(exist_ok=True)
        job = 1 if (folder / "keysoak-data").exists() else built(folder / "keysoak-data")
        print(
            f"job of {HOURS * 3600 * RATE_HZ} frames; load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
        )
        rig = Rig(folder, 1)
        for name in ("broker", "daemon", "dashboard"):
            rig.start(name)
            stack.callback(rig.stop, name)
        url, opens_s = f"{rig.page}/job/{job}", 0.0
        served(rig.api, job)
        browser = stack.enter_context(sync_playwright()).chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox"] if os.geteuid() == 0 else []
        )
        opened(browser, url)[0].context.close()  # the dashboard packs its files once
        if "open" in parts:
            opens_s = opens(browser, url, given.times)
        tab, _ = opened(browser, url)
        if "zoom" in parts:
            zooms(tab, given.times)
        for word in ("CSV", "Parquet") if "files" in parts else ():
            took_s, said = download(tab, word)
            print(f"{word}: {took_s:.1f} s, the page says: {said}")
        tab.context.close()
        sys.stdout.flush()
        if "all-points" in parts:
            all_points(browser, folder / "keysoak-data", job, opens_s, given.all_points_s)


def all_points(browser: Browser, data: Path, job: int, opens_s: float, wait_s: float) -> None:
    """The same page with all points sent, as the ratio to ``opens_s``, where that was measured."""
    with whole(data) as at:
        try:
            tab, all_s = opened(browser, f"{at}/job/{job}", wait_s, STOOD_S)
            tab.context.close()
            said = f"{all_s:.1f} s"
        except TooLong:
            all_s, said = wait_s, f"nothing was drawn after {wait_s:.0f} s"
        print(f"all points: {said}" + (f", {all_s / opens_s:.0f} times as long (or more)" if opens_s else ""))


if __name__ == "__main__":
    main()
