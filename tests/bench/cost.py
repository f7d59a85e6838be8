"""What a frame costs, by rule, in microseconds. By hand: ``python tests/bench/cost.py``; no test."""

# ruff: noqa: T201  it prints for a person
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from alerts.estimates import Estimates
from alerts.judge import Judge
from alerts.limits import Limits
from alerts.rules import ALL
from alerts.types import Situation
from alerts.verdict import Tally
from alerts.watch import Terms
from sensors.types import CHANNELS, NAN, Drive, Frame, Quality

FRAMES = 20_000
HEALTHY = {
    "heatsink": 45.0, "case-1": 60.0, "case-2": 61.0, "drain-1": 1.90, "drain-2": 1.88, "supply": 13.7,
    "forward": 25.0, "reflected": 0.05, "load": 80.0, "ambient": 22.0, "key": 1.0,
}  # fmt: skip


def frames(**channels: float) -> list[Frame]:
    """A key-down with a little noise."""
    given = {**HEALTHY, **{name.replace("_", "-"): value for name, value in channels.items()}}
    quality = bytes(Quality.GOOD if name in given else Quality.MISSING for name in CHANNELS)
    return [
        Frame(
            "bay-1",
            i * 500_000_000,
            i * 0.5,
            i,
            tuple(given.get(name, NAN) * (1.0 if name == "key" else 1.0 + 1e-4 * (i * 7 % 5)) for name in CHANNELS),
            quality,
        )
        for i in range(FRAMES)
    ]


def cost_us(step: Callable[[Frame, Situation], object], told: list[Frame]) -> float:
    """Microseconds a frame, the best of three."""
    now = Situation(soaking=True, drive=Drive.CARRIER, key_asked=True)
    best_s = float("inf")
    for _ in range(3):
        start_s = time.perf_counter()
        for frame in told:
            step(frame, now)
        best_s = min(best_s, time.perf_counter() - start_s)
    return best_s / len(told) * 1e6


def main() -> None:
    """Print the table."""
    limits = Limits()
    for case, told in (
        ("healthy", frames()),
        ("all over their limits", frames(heatsink=90.0, drain_1=6.0, supply=16.5)),
    ):
        print(case)
        for make in ALL:
            rule = make(Terms("bay-1", limits, 3.0, Estimates(limits)))
            print(f"  {rule.name:<20}{cost_us(rule.step, told):6.2f} us")
        print(f"  {'all, by the judge':<20}{cost_us(Judge('bay-1', limits).step, told):6.2f} us")
        print(f"  {'the tally':<20}{cost_us(Tally(limits, 0.5).step, told):6.2f} us")


if __name__ == "__main__":
    main()
