"""What all rules of a bay cost on one frame, by rule, and over a soak of a whole day.

By hand: ``python -m tests.bench.cost [--hours 24] [--hz 10]``; no test. The soak is keyed a minute, rests a minute, and
warms up; nine channels; a little noise. Printed: the median over pieces of 1000 frames, hour by hour; how much memory
the rules hold; then each rule's share, timed one by one (which itself costs some tenths of a microsecond each).
"""

# ruff: noqa: T201  it prints for a person
import argparse
import gc
import sys
import time
from collections.abc import Iterator
from itertools import islice
from math import exp
from random import Random
from statistics import median

from alerts.estimates import Estimates
from alerts.judge import Judge
from alerts.limits import Limits
from alerts.rules import ALL
from alerts.types import Rule, Situation
from alerts.verdict import Tally
from alerts.watch import Terms
from sensors.types import CHANNELS, NAN, Drive, Frame, Quality

HERE = ("heatsink", "case-1", "case-2", "drain-1", "drain-2", "supply", "forward", "reflected", "ambient")
QUALITY = bytes(Quality.GOOD if name in HERE else Quality.MISSING for name in CHANNELS)
PIECE = 1000
KEYED = Situation(soaking=True, drive=Drive.CARRIER, key_asked=True)
RESTS = Situation(soaking=True, drive=Drive.CARRIER, key_asked=False)


def soak(hours: float, hz: float) -> Iterator[tuple[Frame, Situation]]:
    """Frame after frame; a minute on, a minute off."""
    noise = Random("cost").gauss
    sink_k = case_k = 0.0
    for i in range(round(hours * 3600 * hz)):
        at_s = i / hz
        keyed = at_s % 120.0 < 60.0
        watt = 27.0 if keyed else 0.0
        sink_k += (1.2 * watt - sink_k) * (1.0 - exp(-1.0 / (800.0 * hz)))
        case_k += (0.25 * watt - case_k) * (1.0 - exp(-1.0 / (25.0 * hz)))
        drain_a = 1.9 + 0.001 * sink_k if keyed else 0.0
        here = {
            "heatsink": 22.0 + sink_k + noise(0.0, 0.03),
            "case-1": 22.0 + sink_k + case_k + noise(0.0, 0.03),
            "case-2": 22.0 + sink_k + case_k + noise(0.0, 0.03),
            "drain-1": drain_a + noise(0.0, 0.004),
            "drain-2": drain_a + noise(0.0, 0.004),
            "supply": (13.7 if keyed else 13.9) + noise(0.0, 0.005),
            "forward": max((25.0 - 0.01 * sink_k if keyed else 0.0) + noise(0.0, 0.05), 0.0),
            "reflected": 0.05 if keyed else 0.0,
            "ambient": 22.0 + noise(0.0, 0.03),
        }
        values = tuple(here.get(name, NAN) for name in CHANNELS)
        yield Frame("bay-1", round(at_s * 1e9), at_s, i, values, QUALITY), KEYED if keyed else RESTS


def held_kb(root: object) -> float:
    """Memory held by an object and all that it alone leads to, kB; classes and modules left out."""
    seen: set[int] = set()
    waiting: list[object] = [root]
    total = 0
    while waiting:
        one = waiting.pop()
        if id(one) in seen or isinstance(one, type) or type(one).__name__ in ("module", "function"):
            continue
        seen.add(id(one))
        total += sys.getsizeof(one)
        waiting.extend(gc.get_referents(one))
    return total / 1024.0


def over_a_day(hours: float, hz: float) -> None:
    """The judge's median cost hour by hour, and what it holds."""
    judge, tally = Judge("bay-1", Limits()), Tally(Limits(), 1.0 / hz)
    frames = soak(hours, hz)
    by_hour: list[tuple[float, float, float]] = []
    while True:
        rules_us: list[float] = []
        tally_us: list[float] = []
        for _ in range(max(round(3600 * hz / PIECE), 1)):
            piece = list(islice(frames, PIECE))
            if not piece:
                break
            start_s = time.perf_counter()
            for frame, now in piece:
                judge.step(frame, now)
            between_s = time.perf_counter()
            for frame, now in piece:
                tally.step(frame, now)
            rules_us.append((between_s - start_s) / len(piece) * 1e6)
            tally_us.append((time.perf_counter() - between_s) / len(piece) * 1e6)
        if not rules_us:
            break
        by_hour.append((median(rules_us), median(tally_us), held_kb(judge)))
    for hour, (rules, counted, kb) in enumerate(by_hour, 1):
        if hour in (1, 2, 4, 8, 12, 16, 20, len(by_hour)):
            print(f"hour {hour:2d}: all rules {rules:6.2f} us a frame, the tally {counted:5.2f} us, held {kb:6.0f} kB")
    rules, _, kb = by_hour[-1]
    print(f"last hour against the second: time {rules / by_hour[min(1, len(by_hour) - 1)][0]:.2f}, "
          f"memory {kb / by_hour[min(1, len(by_hour) - 1)][2]:.2f}")  # fmt: skip


def shares(hz: float) -> None:
    """What each rule takes of it, over one hour."""
    limits = Limits()
    estimates = Estimates(limits)
    rules: list[Rule] = [make(Terms("bay-1", limits, 3.0, estimates)) for make in ALL]
    took = [0] * (len(rules) + 1)
    n = 0
    clock = time.perf_counter_ns
    for frame, now in soak(1.0, hz):
        n += 1
        start = clock()
        estimates.see(frame)
        estimates.look(frame, now)
        took[-1] += (last := clock()) - start
        for k, rule in enumerate(rules):
            rule.step(frame, now)
            took[k] += (here := clock()) - last
            last = here
    for name, ns in sorted(zip([*(r.name for r in rules), "what they share"], took, strict=True), key=lambda p: -p[1]):
        print(f"  {name:<20}{ns / n / 1e3:6.2f} us {100.0 * ns / sum(took):5.1f} %")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--hz", type=float, default=10.0)
    given = parser.parse_args()
    over_a_day(given.hours, given.hz)
    print("shares, one by one:")
    shares(given.hz)


if __name__ == "__main__":
    main()
