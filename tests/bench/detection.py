"""The detection benchmark: a population of soaks with and without faults, the rules against the fixed-limit loop.

By hand: ``python -m tests.bench.detection [--healthy 500] [--each 20] [--seed 1] [--jobs N] [--quick] [--only FAULT]``.
"""

# ruff: noqa: T201  it prints for a person
import argparse
import time
from collections import Counter
from dataclasses import dataclass, field
from math import inf
from multiprocessing import Pool
from os import cpu_count
from statistics import median, quantiles

from alerts.types import Event, Finding, Priority
from daemon.bay import Bay
from daemon.soak import Begun, Ended, Waited
from tests.bench.faults import FAULTS
from tests.bench.loop import SAYS, FixedLoop
from tests.bench.population import Trial


@dataclass(slots=True)
class Outcome:
    """What came of one trial."""

    seed: int
    fault: str
    about: str
    hours: float
    onset_s: float
    harm_s: float
    named_s: float  # first finding of a right rule, from the onset on
    named_by: str
    named_at_c: float
    loop_s: float
    loop_early: list[str]
    early: list[tuple[float, str, str, str]] = field(default_factory=list)  # warnings and trips before the onset
    said: list[tuple[float, str, str, str]] = field(default_factory=list)  # and after it


class Ear:
    """The keys and the notes of a bay under trial."""

    def __init__(self) -> None:
        self.heard: list[tuple[float, Finding]] = []
        self.over = False

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """A recording can't be keyed."""

    def unkey(self, bay: str) -> None:
        """A recording can't be unkeyed."""

    def begin(self, begun: Begun) -> None:
        """No news."""

    def say(self, job: int, at_s: float, finding: Finding) -> None:
        """Keep it."""
        self.heard.append((at_s, finding))

    def wait(self, waited: Waited) -> None:
        """The plan stands still, or goes on."""

    def end(self, ended: Ended) -> None:
        """The soak is over: the rules are asked no more."""
        self.over = True


def run(order: tuple[int, str]) -> Outcome:  # noqa: PLR0912  one pass, told in order
    """One trial from its seed."""
    seed, fault = order
    trial = Trial(seed, fault)
    ear = Ear()
    sample_s = 1.0 / trial.rate_hz
    bay = Bay("bay-1", ear, ear, sample_s=sample_s)
    loop = FixedLoop(trial.plan)
    right, _ = FAULTS.get(fault, (frozenset(), False))
    harm_s, last_s, sink_c = inf, 0.0, 0.0
    started = False
    named: tuple[float, str, float] = (inf, "", 0.0)
    checked = 0
    for sample in trial.samples():
        if sample.harmed and harm_s == inf:
            harm_s = sample.at_s
        if sample.frame is None:
            continue
        frame = sample.frame
        if not started:
            bay.start(trial.plan, frame.clock_s, frame.time_ns, asks=False, blind=True)
            started = True
        loop.feed(frame)
        if not ear.over:
            if frame.clock_s - last_s > 1.5 * sample_s and last_s:
                for k in range(1, int((frame.clock_s - last_s) / sample_s)):
                    bay.tick(last_s + k * sample_s, frame.time_ns)
            bay.take(frame)
            sink_c = frame.values[0]
            for at_s, finding in ear.heard[checked:]:
                good = (
                    finding.event is Event.RAISED
                    and finding.rule in right
                    and finding.priority is not Priority.ADVISORY
                )
                if good and named[0] == inf and at_s >= trial.onset_s - 1.0:
                    named = (at_s, finding.rule, sink_c)
            checked = len(ear.heard)
        last_s = frame.clock_s
        loop_done = any(SAYS[n][0] & right for n in loop.called)
        if (ear.over or named[0] < inf) and (loop_done or sample.at_s > trial.onset_s + 3000) and harm_s < inf:
            break
        if ear.over and loop_done:
            break
    loop_s = min((t for n, t in loop.called.items() if SAYS[n][0] & right and t >= trial.onset_s), default=inf)
    out = Outcome(
        seed,
        fault,
        f"{type(trial.world).__name__} {trial.devices}d{' total' if trial.one_shunt else ''} {trial.rate_hz:g} Hz "
        f"{trial.nuisance or 'plain'} {trial.plan.phase[2].drive}",
        last_s / 3600.0,
        trial.onset_s,
        harm_s,
        named[0],
        named[1],
        named[2],
        loop_s,
        [n for n, t in loop.called.items() if t < trial.onset_s],
    )
    for at_s, finding in ear.heard:
        if finding.event is Event.RAISED and finding.priority is not Priority.ADVISORY:
            row = (at_s, finding.rule, str(finding.priority), finding.text)
            (out.early if at_s < trial.onset_s else out.said).append(row)
    return out


def report(outcomes: list[Outcome], verbose: bool) -> None:
    """Print what the population says."""
    print(
        f"{'fault':16s} {'named':>9s} {'in time':>9s} {'median':>8s} {'90 %':>8s} "
        f"{'loop':>9s} {'median':>8s} {'ratio':>6s}"
    )
    for fault in FAULTS:
        rows = [o for o in outcomes if o.fault == fault]
        if rows:
            _report_fault(fault, rows)
    early = [(o, e) for o in outcomes for e in o.early]
    hours = sum(min(o.hours, o.onset_s / 3600.0) for o in outcomes)
    healthy = [o for o in outcomes if not o.fault]
    n = len(early)
    # Poisson, 95 % upper bound: 3 for none seen (the rule of three), else by the normal approximation
    upper = 3.0 if n == 0 else n + 1 + 1.645 * (n + 1) ** 0.5
    print(
        f"healthy: {sum(bool(o.early) for o in healthy)} of {len(healthy)} soaks with a warning or trip "
        f"(the loop {sum(bool(o.loop_early) for o in healthy)}); before any onset {n} alerts in {hours:.0f} h: "
        f"{1000 * n / max(hours, 1e-9):.2f} per 1000 h (95 % bound {1000 * upper / max(hours, 1e-9):.2f})"
    )
    print("false alerts by rule:", dict(Counter(e[1] for _, e in early)))
    for o, e in early[: 400 if verbose else 40]:
        where = f"{o.fault or 'healthy'} seed {o.seed} [{o.about}]"
        print(f"  early  {where} at {e[0]:.0f} s (onset {o.onset_s:.0f}) {e[1]} {e[2]}: {e[3]}")
    for o in outcomes:
        missed = o.named_s == inf or o.named_s > o.harm_s
        if not o.fault or not (missed or verbose):
            continue
        said = "; ".join(f"+{s[0] - o.onset_s:.0f} s {s[1]} {s[2]}: {s[3]}" for s in o.said[:3])
        print(
            f"  {'missed' if missed else 'named '} {o.fault} seed {o.seed} [{o.about}] +{o.named_s - o.onset_s:.0f} s, "
            f"harm +{o.harm_s - o.onset_s:.0f} s, loop +{o.loop_s - o.onset_s:.0f} s: said {said or 'nothing'}"
        )


def _report_fault(fault: str, rows: list[Outcome]) -> None:
    delays = sorted(o.named_s - o.onset_s for o in rows if o.named_s < inf)
    in_time = sum(o.named_s < inf and o.named_s <= o.harm_s for o in rows)
    loops = [o.loop_s - o.onset_s for o in rows if o.loop_s < inf]
    # the ratio is of the medians over those that both have called
    both = [o for o in rows if o.loop_s < inf and o.named_s < inf]
    ratio = (
        median([o.named_s - o.onset_s for o in both]) / median([o.loop_s - o.onset_s for o in both]) if both else inf
    )
    middle = median(delays) if delays else inf
    late = quantiles(delays, n=10)[-1] if len(delays) > 1 else inf
    loop = median(loops) if loops else inf
    hot = max((o.named_at_c for o in rows if o.named_s < inf), default=0.0)
    print(
        f"{fault:16s} {len(delays):4d}/{len(rows):<4d} {in_time:4d}/{len(rows):<4d} {middle:8.1f} {late:8.1f} "
        f"{len(loops):4d}/{len(rows):<4d} {loop:8.1f} {ratio:6.2f}  "
        f"{dict(Counter(o.named_by for o in rows if o.named_by))}, hottest {hot:.1f} °C"
    )


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--healthy", type=int, default=500)
    parser.add_argument("--each", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1, help="first seed; each trial takes the next")
    parser.add_argument("--jobs", type=int, default=cpu_count() or 1)
    parser.add_argument("--quick", action="store_true", help="40 healthy soaks and 4 of each fault")
    parser.add_argument("--only", nargs="*", help="these faults alone ('healthy' for none)")
    parser.add_argument("--verbose", action="store_true")
    given = parser.parse_args()
    healthy, each = (40, 4) if given.quick else (given.healthy, given.each)
    orders = [(given.seed + i, "") for i in range(healthy)]
    orders += [(given.seed + i, fault) for i in range(each) for fault in FAULTS]
    if given.only:
        orders = [o for o in orders if (o[1] or "healthy") in given.only]
    started = time.perf_counter()
    if given.jobs > 1:
        with Pool(given.jobs) as pool:
            outcomes = pool.map(run, orders, chunksize=1)
    else:
        outcomes = [run(o) for o in orders]
    report(outcomes, given.verbose)
    print(f"{len(orders)} soaks in {time.perf_counter() - started:.0f} s on {given.jobs} processes")


if __name__ == "__main__":
    main()
