"""Frames a second that ``replay`` gets through on one core, and its parts in the same run.

    .venv/bin/python tests/bench/replay.py [--runs 5]

The recording is a two-hour soak of the twin (14 400 frames, two devices, all optional channels), plain text. Also
printed: the same recording only read into Frames, and only decoded as JSON, so that the cost of judging is a ratio.
"""

import argparse
import json
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from daemon.demo.history import PLAN, soak_instantly
from daemon.demo.world import EARLIER
from daemon.export import export
from daemon.plan import Plan
from daemon.replay import replay
from daemon.store import Store
from sensors.recording import read


def seconds(act: Callable[[], object], runs: int) -> float:
    """The median of some runs, after one that is not counted."""
    took = []
    for _ in range(runs + 1):
        start_s = time.perf_counter()
        act()
        took.append(time.perf_counter() - start_s)
    return statistics.median(took[1:])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=5)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        with Store(folder) as store:
            soak_instantly(EARLIER[0], store, 1_764_054_000 * 10**9)
        path = folder / "job.senml"
        frames = export(folder, 1, path)
        plan = Plan.from_file(PLAN)
        lines = path.read_bytes().splitlines()
        rows = [
            ("replay: read, judge, verdict", seconds(lambda: replay(path, plan, str), runs)),
            ("read into Frames alone", seconds(lambda: sum(1 for _ in read(path)), runs)),
            ("json.loads of each line alone", seconds(lambda: [json.loads(line) for line in lines], runs)),
        ]
    whole_s = rows[0][1]
    print(f"{frames} frames, median of {runs} runs, one core")  # noqa: T201
    for name, took_s in rows:
        print(f"{name:32} {frames / took_s:10.0f} frames/s   {took_s / whole_s:5.2f} of replay")  # noqa: T201


if __name__ == "__main__":
    main()
