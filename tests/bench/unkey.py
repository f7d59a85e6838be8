"""How soon a telling pack unkeys: last byte of the pack on the wire -> unkey on the wire, by the node's own clock.

By hand: ``.venv/bin/python tests/bench/unkey.py [--bays 8 64] [--loads curves ...] [--seconds 60]``; no test.

The daemon is ``keysoak serve`` as it is, on pseudo-terminals (even bays) and a real Mosquitto (odd bays), 10 Hz, nine
channels. Every bay soaks; after a few seconds its node sends two packs with too much current; two samples are the
least that any rule decides by, so the second one tells. The soak is then started anew. The floor is the same nodes
with bare loops in the daemon's place, that answer each telling pack at once; once in peace and once beside as many
busy processes as there are processors, which no load outdoes. The loads take turns, so that what else the machine
does meets all of them; ``shift`` is how much p50 and p99 of both links are moved against no load. ``p99*`` leaves out
samples in which the nodes themselves, who go before all else here, were late: then the machine stood still.
"""

# ruff: noqa: T201  it finds the project by its own place; it prints for a person
import argparse
import contextlib
import json
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.unkey_children import GUEST, LIKE_THE_DAEMON, MACHINE, Child, child, shell
from tests.bench.unkey_rack import HZ, PlainBroker, Rack, fill
from tests.bench.unkey_samples import Samples, Times, soak

#: a soak runs so long before its telling pack
REST_S = (2.0, 6.0)
NONE, FLOOR, BUSY_FLOOR = "none", "floor", "busy floor"
LOADS = (NONE, "curves", "store", "delivery", "flood", "all")
TURN_S = 15.0
SETTLE_S = 2.0


class Parts(NamedTuple):
    """What is told of some samples, seconds; ``on_time`` is the p99 of those in which the machine never stood still."""

    n: int
    stalls: int
    p50: float
    p99: float
    most: float
    on_time: float


def parts(times: Times, kind: str) -> Parts | None:
    """Of one kind of link, or of both."""
    found = [one for of_kind in times.values() for one in of_kind] if kind == "both" else times[kind]
    whole, fair = sorted(one.s for one in found), sorted(one.s for one in found if not one.stall)
    if not fair:
        return None
    return Parts(
        len(whole), len(whole) - len(fair), _part(whole, 0.5), _part(whole, 0.99), whole[-1], _part(fair, 0.99)
    )


def _part(values: list[float], part: float) -> float:
    return values[min(len(values) - 1, int(len(values) * part))]


def report(what: str, times: Times, floor: Times | None, calm: Times | None, more: str) -> None:
    """One line a kind of link, and one for both; ratios to ``floor``, shifts against ``calm``."""
    for kind in (*times, "both"):
        mine = parts(times, kind)
        if mine is None:
            continue
        text = f"{what:<11}{kind:<7}{mine.n:>6}{mine.stalls:>7}"
        text += "".join(f"{one * 1e3:>9.2f}" for one in (mine.p50, mine.p99, mine.most, mine.on_time))
        if floor and (low := parts(floor, kind)):
            text += f"{mine.p50 / low.p50:>8.1f}{mine.on_time / low.on_time:>9.1f}"
        if calm and kind == "both" and (still := parts(calm, kind)):
            text += f"   shift p50 {mine.p50 / still.p50 - 1:+.0%}, p99* {mine.on_time / still.on_time - 1:+.0%}"
        print(text + (more if kind == "both" else ""))
    sys.stdout.flush()


def nothing_yet() -> Times:
    """No sample."""
    return {"serial": [], "mqtt": []}


def nodes_of(rack: Rack, **words: object) -> Child:
    """The process of all nodes, ready."""
    told = {"hz": HZ, "hot": 2, "rest_s": REST_S, "bays": rack.bays} | words
    made = Child("-m", "tests.bench.unkey_nodes", json.dumps(told), rank=MACHINE)
    made.line()
    return made


def burners(stack: contextlib.ExitStack) -> None:
    """A busy process for each processor."""
    for _ in range(os.cpu_count() or 1):
        stack.enter_context(shell("while :; do :; done"))


def measure_floor(rack: Rack, seconds: float) -> Times:
    """The bare loops, in peace and beside a busy machine; prints both, returns the first."""
    found = {}
    with contextlib.ExitStack() as stack:
        nodes = nodes_of(rack, hot=1, echo=True)
        stack.callback(nodes.end)
        bare = stack.enter_context(child("-m", "tests.bench.unkey_floor", json.dumps(rack.bays), rank=LIKE_THE_DAEMON))
        bare.line()
        samples = Samples(rack, nodes)
        for what in (FLOOR, BUSY_FLOOR):
            with contextlib.ExitStack() as loaded:
                if what == BUSY_FLOOR:
                    burners(loaded)
                time.sleep(SETTLE_S)
                times = found[what] = nothing_yet()
                cpu_s, began_s = bare.cpu_s(), time.monotonic()
                samples.count(times)
                time.sleep(seconds / 2)
                samples.count(None)
                cpu = (bare.cpu_s() - cpu_s) / (time.monotonic() - began_s)
            report(what, times, None, None, f"   cpu {cpu:.0%}, odd {samples.odd or 'none'}")
    return found[FLOOR]


def loads_of(load: str, url: str, job: int, rack: Rack, stack: contextlib.ExitStack) -> None:
    """Start what ``load`` names; the store writes all frames in any case, delivery's server is set up at the start."""
    if load in ("curves", "all"):
        stack.enter_context(child("-m", "tests.bench.unkey_loads", "curves", url, job, rank=GUEST))
    if load in ("flood", "all"):
        stack.enter_context(child("-m", "tests.bench.unkey_loads", "flood", url, rank=GUEST))
    if load in ("store", "all"):
        # the whole day sealed again and again, as the store does it once; where the daemon's own sealing of the
        # soaks that end here clears up behind it, it begins anew
        words = f"{sys.executable} -m daemon.store.sealing {rack.folder}/data {job}"
        # its standard input must stay open, or it takes the daemon for dead
        pipe = rack.folder / "open"
        stack.enter_context(shell(f"mkfifo {pipe}; exec 9<>{pipe}; while :; do {words} <&9 2>/dev/null; done"))
        stack.callback(lambda: pipe.unlink(missing_ok=True))


def measure(rack: Rack, loads: list[str], job: int, seconds: float, floor: Times | None, *, hangs: bool) -> Times:
    """One daemon under these loads by turns; with ``hangs`` all alerts go to a server that never answers.

    Prints a line each; returns the times without a load.
    """
    with contextlib.ExitStack() as stack:
        port = int(stack.enter_context(child("-m", "tests.bench.unkey_loads", "hang", rank=GUEST)).line())
        nodes = nodes_of(rack)
        stack.callback(nodes.end)
        config = rack.config(port if hangs else None)
        daemon = stack.enter_context(child("-m", "daemon.cli.main", "serve", "--rack", config, quiet=True))
        url = daemon.line().split()[-1]
        at = url.removeprefix("http://")
        samples = Samples(rack, nodes)
        sealed = rack.folder / "data" / "sealed" / f"job-{job}.parquet"
        while not sealed.is_file():  # the day, which the daemon finds unsealed
            time.sleep(0.1)
        samples.start_all(list(rack.bays))
        soak(at, samples, 5.0)
        times = {load: nothing_yet() for load in loads}
        cpu_s = dict.fromkeys(loads, 0.0)
        turns = max(1, round(seconds / TURN_S))
        for _ in range(turns):
            for load in loads:
                with contextlib.ExitStack() as loaded:
                    loads_of(load, url, job, rack, loaded)
                    soak(at, samples, SETTLE_S)
                    before_s = daemon.cpu_s()
                    samples.count(times[load])
                    soak(at, samples, seconds / turns)
                    samples.count(None)
                    cpu_s[load] += daemon.cpu_s() - before_s
        return_to = times.get(NONE)
        for load in loads:
            more = f"   cpu {cpu_s[load] / seconds:.0%}"
            report(load, times[load], floor, None if load == NONE else return_to, more)
        print(f"  odd {samples.odd or 'none'}; load average {' '.join(f'{one:.1f}' for one in os.getloadavg()[:2])}")
        return return_to or nothing_yet()


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
            heads = [f"{head:>9}" for head in ("p50", "p99", "max", "p99*")]
            print(f"{'load':<11}{'link':<7}{'n':>6}{'stalls':>7}{''.join(heads)}{'p50/fl':>8}{'p99*/fl':>9}")
            floor = None if chosen.no_floor else measure_floor(rack, chosen.seconds)
            told = {"delivery", "all"} & set(chosen.loads)
            # a server that hangs is in rack.toml, so that load has a daemon of its own, and its own turns beside none
            quiet = [load for load in chosen.loads if load not in told]
            if quiet:
                measure(rack, quiet, job, chosen.seconds, floor, hangs=False)
            if told:
                measure(rack, [NONE, *(load for load in LOADS if load in told)], job, chosen.seconds, floor, hangs=True)
    finally:
        broker.kill()
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
