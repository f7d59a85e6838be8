"""How long the detectors of a shift in the mean need, against theory. By hand: ``python -m tests.bench.drift``.

At an in-control run length of 1e5 samples: the bank of ``bias-drift``, which does not know the shift; a CUSUM made for
that very shift (Page 1954), simulated and exact (integral equation); the continuous-time optimum (Lorden 1971,
Moustakides 1986); and ``river``'s ADWIN and Page-Hinkley where that library is installed.
"""

# ruff: noqa: T201  it prints for a person
import argparse
import importlib
from collections.abc import Callable
from functools import partial
from random import Random
from statistics import fmean, stdev
from typing import Any

from alerts.estimators.cusum import Bank, Cusum, interval_for, least_delay

RUN = 1e5
#: samples in control before the shift, so that a chart may be anywhere
BEFORE = 200

Detector = Callable[[float], bool]


def _bank() -> Detector:
    bank = Bank(RUN)
    return lambda x: bank.feed(x) is not None


def _knew(shift: float) -> Detector:
    chart = Cusum(shift / 2, interval_for(shift / 2, RUN))
    return chart.feed


def _river(name: str) -> Detector:
    drift: Any = importlib.import_module("river.drift")
    detector = getattr(drift, name)()

    def feed(x: float) -> bool:
        detector.update(x)
        return bool(detector.drift_detected)

    return feed


def delay(make: Callable[[], Detector], shift: float, trials: int, seed: str, before: int) -> tuple[float, float, int]:
    """Mean delay after the shift, its standard error, and how many signalled before it."""
    noise = Random(seed).gauss
    delays, early = [], 0
    for _ in range(trials):
        feed = make()
        if any([feed(noise(0.0, 1.0)) for _ in range(before)]):
            early += 1
            continue
        n = 1
        while not feed(noise(shift, 1.0)) and n < 100_000:
            n += 1
        delays.append(n)
    spread = stdev(delays) / len(delays) ** 0.5 if len(delays) > 1 else 0.0
    return (fmean(delays) if delays else float("nan")), spread, early


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=2000)
    trials = parser.parse_args().trials
    try:
        importlib.import_module("river.drift")
    except ImportError:
        libraries: list[str] = []
        print("river is not installed: its detectors are left out")
    else:
        libraries = ["ADWIN", "PageHinkley"]
    for shift in (0.5, 1.0, 2.0):
        # from zero is the worst case; after a while in control a chart is seldom at zero
        knew, knew_sd, _ = delay(partial(_knew, shift), shift, trials, f"knew {shift}", 0)
        bank, bank_sd, _ = delay(_bank, shift, trials, f"bank {shift}", 0)
        later, _, early = delay(_bank, shift, trials, f"later {shift}", BEFORE)
        print(
            f"shift {shift:g}: knew {knew:.2f} +- {knew_sd:.2f}, bank {bank:.2f} +- {bank_sd:.2f} "
            f"(ratio {bank / knew:.2f}), after {BEFORE} in control {later:.2f} ({early} early), "
            f"optimum {least_delay(shift, RUN):.2f}"
        )
        for name in libraries:
            make = partial(_river, name)
            mean, sd, early = delay(make, shift, trials // 10, f"{name} {shift}", BEFORE)
            print(f"    river {name}: {mean:.2f} +- {sd:.2f} ({early} of {trials // 10} early)")


if __name__ == "__main__":
    main()
