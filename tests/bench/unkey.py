"""How soon a telling pack unkeys: last byte of the pack on the wire -> unkey on the wire, by the node's own clock.

By hand: ``.venv/bin/python -m tests.bench.unkey [--bays 8 64] [--loads curves ...] [--seconds 60]``; no test.

The daemon is ``keysoak serve`` as it is, on pseudo-terminals (even bays) and a real Mosquitto (odd bays), 10 Hz, nine
channels. Every bay soaks; after a few seconds its node sends two packs with too much current; two samples are the
least that any rule decides by, so the second one tells. The soak is then started anew. The loads take turns, so that
what else the machine does meets all of them; ``shift`` is how much p50 and p99 of both links are moved against no load.

The floor (``fl``; ``x`` is the ratio to it) is the same nodes under the same loads, with bare loops in the daemon's
place that answer each telling pack at once: the loads fall on a daemon that has the same folder and bays, and no nodes.
On few processors the nodes, the broker and the loads are a burden that no real rack has on its daemon's machine: the
floor has it too. ``p99*`` leaves out samples in which the nodes themselves, who go before all else here, were late:
then the machine stood still.
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
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.bench.unkey_children import GUEST, LIKE_THE_DAEMON, MACHINE, Child, child, shell
from tests.bench.unkey_rack import HZ, PlainBroker, Rack, fill
from tests.bench.unkey_report import NONE, heads, report
from tests.bench.unkey_samples import Samples, Times, soak

LOADS = (NONE, "curves", "store", "delivery", "flood", "all")
TURN_S = 15.0
SETTLE_S = 2.0

GoOn = Callable[[float], None]


def nothing_yet() -> Times:
    """No sample."""
    return {"serial": [], "mqtt": []}


def nodes_of(rack: Rack, **words: object) -> Child:
    """The process of all nodes, ready."""
    told = {"hz": HZ, "hot": 2, "rest_s": rack.rest_s, "bays": rack.bays} | words
    made = Child("-m", "tests.bench.unkey_nodes", json.dumps(told), rank=MACHINE)
    made.line()
    return made


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


class Run(NamedTuple):
    """What was measured: the times under each load, and what part of a processor was taken."""

    times: dict[str, Times]
    cpu: dict[str, float]


def take_turns(  # noqa: PLR0917  what a turn needs
    rack: Rack, loads: list[str], url: str, job: int, seconds: float, samples: Samples, timed: Child, go_on: GoOn
) -> Run:
    """All loads by turns, each for ``seconds`` in all; ``timed`` answers the nodes, ``go_on`` lets time pass."""
    run = Run({load: nothing_yet() for load in loads}, dict.fromkeys(loads, 0.0))
    turns = max(1, round(seconds / TURN_S))
    for _ in range(turns):
        for load in loads:
            with contextlib.ExitStack() as loaded:
                loads_of(load, url, job, rack, loaded)
                go_on(SETTLE_S)
                before_s = timed.cpu_s()
                samples.count(run.times[load])
                go_on(seconds / turns)
                samples.count(None)
                run.cpu[load] += (timed.cpu_s() - before_s) / seconds
    return run


def serving(rack: Rack, config: Path, job: int, stack: contextlib.ExitStack) -> tuple[Child, str]:
    """A daemon and its URL, as soon as it has sealed the day, which it finds unsealed at its first start."""
    daemon = stack.enter_context(child("-m", "daemon.cli.main", "serve", "--rack", config, quiet=True))
    url = daemon.line().split()[-1]
    while not (rack.folder / "data" / "sealed" / f"job-{job}.parquet").is_file():
        time.sleep(0.1)
    return daemon, url


def floor(rack: Rack, loads: list[str], job: int, seconds: float) -> Run:
    """The bare loops, under the loads of a daemon that has no nodes."""
    with contextlib.ExitStack() as stack:
        _, url = serving(rack, rack.still(), job, stack)
        nodes = nodes_of(rack, hot=1, echo=True)
        stack.callback(nodes.end)
        bare = stack.enter_context(child("-m", "tests.bench.unkey_floor", json.dumps(rack.bays), rank=LIKE_THE_DAEMON))
        bare.line()
        return take_turns(rack, loads, url, job, seconds, Samples(rack, nodes), bare, time.sleep)


def measure(
    rack: Rack, loads: list[str], job: int, seconds: float, calm: Times | None, *, hangs: bool, no_floor: bool
) -> Times | None:
    """One daemon under these loads; with ``hangs`` all alerts go to a server that never answers.

    Prints the lines; returns the times without a load, which are ``calm`` where they were measured before.
    """
    low = None if no_floor else floor(rack, loads, job, seconds)
    with contextlib.ExitStack() as stack:
        port = int(stack.enter_context(child("-m", "tests.bench.unkey_loads", "hang", rank=GUEST)).line())
        nodes = nodes_of(rack)
        stack.callback(nodes.end)
        daemon, url = serving(rack, rack.config(port if hangs else None), job, stack)
        at = url.removeprefix("http://")
        samples = Samples(rack, nodes)
        samples.start_all(list(rack.bays))
        soak(at, samples, 5.0)
        run = take_turns(rack, loads, url, job, seconds, samples, daemon, lambda s: soak(at, samples, s))
    for load in loads:
        beside = low.times[load] if low else None
        report(load, run.times[load], beside, run.times.get(NONE, calm), run.cpu[load])
    print(f"  odd {samples.odd or 'none'}; load average {' '.join(f'{one:.1f}' for one in os.getloadavg()[:2])}")
    return run.times.get(NONE, calm)


def main() -> None:
    """Print the table."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    ask.add_argument("--bays", nargs="+", type=int, default=[8, 64])
    ask.add_argument("--loads", nargs="+", choices=LOADS, default=list(LOADS))
    ask.add_argument("--links", choices=["both", "serial", "mqtt"], default="both")
    ask.add_argument("--seconds", type=float, default=60.0)
    ask.add_argument(
        "--rest", nargs=2, type=float, default=[2.0, 6.0], help="a soak before it tells, least and most, s"
    )
    ask.add_argument("--no-floor", action="store_true")
    chosen = ask.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="unkey-"))
    broker = PlainBroker(folder)
    broker.start()
    broker.go_first()
    try:
        job = fill(folder / "data")
        for bays in chosen.bays:
            rack = Rack(folder, broker, bays, chosen.links, chosen.rest)
            print(f"{bays} bays x {HZ:g} Hz x 9 channels, {os.cpu_count()} cores; ms")
            heads()
            # a server that hangs is in rack.toml, so those loads have a daemon of their own
            told = {"delivery", "all"} & set(chosen.loads)
            calm = None
            for hangs in (False, True):
                loads = [load for load in LOADS if load in chosen.loads and (load in told) == hangs]
                if loads:
                    no_floor = chosen.no_floor
                    calm = measure(rack, loads, job, chosen.seconds, calm, hangs=hangs, no_floor=no_floor)
    finally:
        broker.kill()
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
