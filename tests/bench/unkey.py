"""How soon a telling pack unkeys: last byte of the pack on the wire -> unkey on the wire, by the node's own clock.

By hand: ``.venv/bin/python tests/bench/unkey.py [--bays 8 64] [--loads none curves ...] [--seconds 60]``; no test.

The daemon is ``keysoak serve`` as it is, on pseudo-terminals (even bays) and a real Mosquitto (odd bays), 10 Hz, nine
channels. Every bay soaks; after a few seconds its node sends two packs with too much current; two samples are the
least that any rule decides by, so the second one tells. The soak is then started anew. The floor is the same nodes
with bare loops in the daemon's place, that answer each telling pack at once.
"""

# ruff: noqa: E402, T201  it finds the project by its own place; it prints for a person
import argparse
import contextlib
import heapq
import http.client
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from daemon.store import Store
from daemon.store.items import JobEnded, JobStarted
from tests.conftest import Broker

HZ = 10.0
DAY_S = 86_400
#: of what stands for callers on other machines: it shares our two cores, but it goes last
GUEST_NICE = 10
#: nodes and broker are other machines too, and what is timed is not to be their own waiting for a processor
NODE_NICE = -15
#: a soak runs so long before its telling pack, and so long after it the next one is started
REST_S = (2.0, 6.0)
AGAIN_S = 1.0
LOADS = ("none", "curves", "store", "delivery", "flood", "all")
PLAN = """name = "bench"
[[phase]]
drive = "carrier"
minutes = 600
[limits]
over_current_dwell_s = 0.0
"""


class Rack:
    """Folder, broker and bays of one size of rack."""

    def __init__(self, folder: Path, broker: Broker, bays: int, links: str) -> None:
        self.folder, self.broker = folder, broker
        names = [f"bay-{i}" for i in range(bays)]
        serial = [n for i, n in enumerate(names) if links == "serial" or (links == "both" and i % 2 == 0)]
        self.bays: dict[str, str | int] = {n: str(folder / n) if n in serial else broker.port for n in names}

    def config(self, delivery: int | None) -> Path:
        """Write rack.toml, with a target that hangs where ``delivery`` is its port."""
        text = f'[rack]\nname = "rack-1"\ndata = "{self.folder / "data"}"\n[api]\nport = 0\n'
        text += f'[[link]]\nname = "broker"\nkind = "mqtt"\nport = {self.broker.port}\n'
        if delivery:
            text += f'[[tell]]\nname = "hangs"\nurl = "json://127.0.0.1:{delivery}/"\n'
        for bay, where in self.bays.items():
            if isinstance(where, str):
                text += f'[[link]]\nname = "line-{bay}"\nkind = "serial"\nport = "{where}"\n'
        for bay, where in self.bays.items():
            link = f'link = "line-{bay}"' if isinstance(where, str) else f'link = "broker"\nnode = "node-{bay}"'
            text += f'[[bay]]\nname = "{bay}"\n{link}\nrate_hz = {HZ}\n'
        path = self.folder / "rack.toml"
        path.write_text(text)
        return path


def fill(data: Path) -> int:
    """A job of 24 hours at 10 Hz and nine channels in the store; returns its number."""
    with Store(data) as store:
        job = store.next_job()
        now_ns = time.time_ns()
        zero_ns = now_ns - 2 * DAY_S * 10**9
        store.put(JobStarted(job, "0001", "MR-25 no. 014", "bay-x", "day", PLAN, {}, zero_ns, 0.0))
        store.put(JobEnded(job, zero_ns + DAY_S * 10**9, "pass", [], {}))
    with contextlib.closing(sqlite3.connect(data / "frames.sqlite")) as db, db:
        channels = ("heatsink", "drain-1", "drain-2", "supply", "forward", "reflected", "load", "ambient", "key")
        names = ", ".join(f'"{name}"' for name in channels)
        db.execute(
            f"""WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < {DAY_S * int(HZ) - 1})
            INSERT INTO frames (bay, time_ns, seq, job, clock_s, {names}, quality)
            SELECT 'bay-x', {zero_ns} + i * 100000000, i, {job}, i / 10.0, 41.5 + (i % 97) / 50.0,
                   1.9 + (i % 13) / 100.0, 1.88 + (i % 11) / 100.0, 13.7 + (i % 7) / 100.0, 24.6 + (i % 17) / 20.0,
                   0.05, 60 + (i % 31) / 10.0, 22 + (i % 23) / 50.0, 1.0, zeroblob(21) FROM n"""
        )
        last_ns = zero_ns + (DAY_S * int(HZ) - 1) * 100_000_000
        db.execute("INSERT OR REPLACE INTO spans VALUES (?, 'bay-x', ?, ?, ?)", (job, zero_ns, zero_ns, last_ns))
    return job


class PlainBroker(Broker):
    """A broker as a bench would have it: saving to disk after every change, as the tests' one does, takes seconds."""

    def go_first(self) -> None:
        """Raise it, as it may be another machine."""
        if self._child is not None:
            with contextlib.suppress(PermissionError):
                os.setpriority(os.PRIO_PROCESS, self._child.pid, NODE_NICE)

    def settings(self) -> list[str]:
        """Its configuration."""
        return [line for line in super().settings() if not line.startswith("autosave")]


class Child:
    """A process with its standard output heard line by line; killed at the end."""

    def __init__(self, *words: object, nice: int = 0) -> None:
        self.process = subprocess.Popen(
            ["nice", "-n", str(nice), "setpriv", "--pdeathsig", "KILL", sys.executable, *map(str, words)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL if "serve" in words else None,
            text=True,
            cwd=ROOT,
        )

    def line(self) -> str:
        """The next line that it says."""
        assert self.process.stdout
        return self.process.stdout.readline()

    def end(self) -> None:
        """End it, and wait."""
        self.process.terminate()
        try:
            self.process.wait(15)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()

    def cpu_s(self) -> float:
        """Processor time of all its threads so far, its children not among them."""
        # proc(5): the fields after the name in brackets; utime and stime are numbers 14 and 15
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextlib.contextmanager
def child(*words: object, nice: int = 0) -> Iterator[Child]:
    """Such a process, for a while."""
    made = Child(*words, nice=nice)
    try:
        yield made
    finally:
        made.end()


class Samples:
    """What the nodes say, by kind of link; ``due`` has the bays whose soak is to be started anew."""

    def __init__(self, rack: Rack, nodes: Child) -> None:
        self._rack, self._nodes = rack, nodes
        self.due: list[tuple[float, str]] = []
        self.news = threading.Lock()
        self.times: dict[str, list[float]] = {"serial": [], "mqtt": []}
        self.odd_bays: list[str] = []
        self.odd: dict[str, int] = {}  # telling packs that were not answered, unkeys that nobody told, ...
        self.counting = False
        threading.Thread(target=self._hear, daemon=True).start()

    def _hear(self) -> None:
        while line := self._nodes.line():
            said = json.loads(line)
            with self.news:
                heapq.heappush(self.due, (time.monotonic() + AGAIN_S, said["bay"]))
                if not self.counting:
                    continue
                if said["s"] is None:
                    self.note(said["odd"])
                    self.odd_bays.append(said["bay"])
                else:
                    kind = "serial" if isinstance(self._rack.bays[said["bay"]], str) else "mqtt"
                    self.times[kind].append(said["s"])

    def start_over(self) -> None:
        """Count from nothing."""
        with self.news:
            self.times, self.odd, self.counting = {"serial": [], "mqtt": []}, {}, True

    def note(self, what: str) -> None:
        """Count something that ought not to be."""
        self.odd[what] = self.odd.get(what, 0) + 1


def soak(at: str, samples: Samples, seconds: float) -> None:
    """Keep every bay soaking for so long."""
    wire = http.client.HTTPConnection(at, timeout=30)
    body = json.dumps({"plan": PLAN, "number": "1", "unit": "MR-25 no. 014"})
    ends_s = time.monotonic() + seconds
    while (now_s := time.monotonic()) < ends_s:
        with samples.news:
            bay = heapq.heappop(samples.due)[1] if samples.due and samples.due[0][0] <= now_s else None
        if samples.odd_bays:
            wire.request("GET", f"/v1/bays/{samples.odd_bays.pop()}", headers={"connection": "close"})
            view = json.loads(wire.getresponse().read())
            samples.note(f"{view['status']}: {(view['reasons'] or [''])[0][:70]}")
        if bay is None:
            time.sleep(0.02)
            continue
        wire.request("POST", f"/v1/bays/{bay}/soak", body, {"content-type": "application/json", "connection": "close"})
        answer = wire.getresponse()
        if answer.status != 200:
            # a node that was unkeyed untold may have been keyed again: then its soak runs, and it will tell
            samples.note(f"soak refused: {answer.status}")
        answer.read()


def report(what: str, samples: Samples, floor: dict[str, list[float]], cpu: float) -> dict[str, list[float]]:
    """One line a kind of link, and one for both."""
    with samples.news:
        times = {kind: sorted(of_kind) for kind, of_kind in samples.times.items()}
    times["both"] = sorted(times["serial"] + times["mqtt"])
    for kind, of_kind in times.items():
        if not of_kind:
            continue
        p50, p99 = parts(of_kind)
        text = f"{what:<10}{kind:<8}{len(of_kind):>6}{p50 * 1e3:>9.2f}{p99 * 1e3:>9.2f}{of_kind[-1] * 1e3:>9.2f}"
        if floor:
            low50, low99 = parts(floor[kind])
            text += f"{p50 / low50:>8.1f}{p99 / low99:>8.1f}"
        if kind == "both":
            text += f"   cpu {cpu:.0%}, load {_uptime()}, odd {samples.odd or 'none'}"
        print(text)
    sys.stdout.flush()
    return times


def parts(times: list[float]) -> tuple[float, float]:
    """p50 and p99 of sorted times."""
    return times[len(times) // 2], times[min(len(times) - 1, int(len(times) * 0.99))]


def _uptime() -> str:
    return " ".join(f"{one:.1f}" for one in os.getloadavg()[:2])


def nodes_of(rack: Rack, **words: object) -> Child:
    """The process of all nodes, ready."""
    told = {"hz": HZ, "hot": 2, "rest_s": REST_S, "bays": rack.bays} | words
    made = Child("-m", "tests.bench.unkey_nodes", json.dumps(told), nice=NODE_NICE)
    made.line()
    return made


def measure_floor(rack: Rack, seconds: float) -> dict[str, list[float]]:
    """The bare loops."""
    nodes = nodes_of(rack, hot=1, echo=True)
    with contextlib.ExitStack() as stack:
        stack.callback(nodes.end)
        bare = stack.enter_context(child("-m", "tests.bench.unkey_floor", json.dumps(rack.bays)))
        bare.line()
        samples = Samples(rack, nodes)
        time.sleep(2)
        samples.start_over()
        cpu_s, began_s = bare.cpu_s(), time.monotonic()
        time.sleep(seconds)
        return report("floor", samples, {}, (bare.cpu_s() - cpu_s) / (time.monotonic() - began_s))


def guest(*words: object) -> contextlib.AbstractContextManager[Child]:
    """A load."""
    return child("-m", "tests.bench.unkey_loads", *words, nice=GUEST_NICE)


def loads_of(load: str, url: str, job: int, rack: Rack, stack: contextlib.ExitStack) -> None:
    """Start what ``load`` names; the store writes all frames in any case."""
    if load in ("curves", "all"):
        stack.enter_context(guest("curves", url, job))
    if load in ("flood", "all"):
        stack.enter_context(guest("flood", url))
    if load in ("store", "all"):
        # the whole day sealed again and again, as the store does it once; where the daemon's own sealing of the
        # soaks that end here clears up behind it, it begins anew
        words = f"{sys.executable} -m daemon.store.sealing {rack.folder}/data {job}"
        # its standard input must stay open, or it takes the daemon for dead
        pipe = rack.folder / "open"
        stack.enter_context(shell(f"mkfifo {pipe}; exec 9<>{pipe}; while :; do {words} <&9 2>/dev/null; done"))
        stack.callback(lambda: pipe.unlink(missing_ok=True))


@contextlib.contextmanager
def shell(text: str) -> Iterator[None]:
    """A line of shell in a session of its own, for a while."""
    made = subprocess.Popen(
        ["nice", "-n", str(GUEST_NICE), "sh", "-c", text], cwd=ROOT, start_new_session=True, stdout=subprocess.DEVNULL
    )
    try:
        yield
    finally:
        os.killpg(made.pid, 9)
        made.wait()


def measure(rack: Rack, loads: list[str], job: int, seconds: float, floor: dict[str, list[float]]) -> None:
    """One daemon under one load after the other."""
    with contextlib.ExitStack() as stack:
        hanging = stack.enter_context(guest("hang"))
        port = int(hanging.line())
        nodes = nodes_of(rack)
        stack.callback(nodes.end)
        config = rack.config(port if {"delivery", "all"} & set(loads) else None)
        daemon = stack.enter_context(child("-m", "daemon.cli.main", "serve", "--rack", config))
        url = daemon.line().split()[-1]
        at = url.removeprefix("http://")
        samples = Samples(rack, nodes)
        sealed = rack.folder / "data" / "sealed" / f"job-{job}.parquet"
        while not sealed.is_file():  # the day, which the daemon finds unsealed
            time.sleep(0.1)
        with samples.news:
            for bay in rack.bays:
                heapq.heappush(samples.due, (time.monotonic(), bay))
        soak(at, samples, 5.0)
        for load in loads:
            with contextlib.ExitStack() as loaded:
                loads_of(load, url, job, rack, loaded)
                soak(at, samples, 3.0)
                samples.start_over()
                cpu_s, began_s = daemon.cpu_s(), time.monotonic()
                soak(at, samples, seconds)
                cpu = (daemon.cpu_s() - cpu_s) / (time.monotonic() - began_s)
                report(load, samples, floor, cpu)


def main() -> None:
    """Print the table."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    ask.add_argument("--bays", nargs="+", type=int, default=[8, 64])
    ask.add_argument("--loads", nargs="+", choices=LOADS, default=list(LOADS))
    ask.add_argument("--links", choices=["both", "serial", "mqtt"], default="both")
    ask.add_argument("--seconds", type=float, default=60.0)
    ask.add_argument("--no-floor", action="store_true")
    chosen = ask.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="unkey-"))
    broker = PlainBroker(folder)
    broker.start()
    broker.go_first()
    try:
        job = fill(folder / "data")
        for bays in chosen.bays:
            rack = Rack(folder, broker, bays, chosen.links)
            print(f"{bays} bays x {HZ:g} Hz x 9 channels, {os.cpu_count()} cores; ms")
            print(f"{'load':<10}{'link':<8}{'n':>6}{'p50':>9}{'p99':>9}{'max':>9}{'p50/fl':>8}{'p99/fl':>8}")
            floor = {} if chosen.no_floor else measure_floor(rack, chosen.seconds)
            measure(rack, chosen.loads, job, chosen.seconds, floor)
    finally:
        broker.kill()
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
