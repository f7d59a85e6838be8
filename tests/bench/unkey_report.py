"""The table of the unkey bench: a line a link and load, the floor under the same load beside it."""

# ruff: noqa: T201  it prints for a person
import sys
from typing import NamedTuple

from tests.bench.unkey_samples import Times

NONE = "none"


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


def heads() -> None:
    """The first line."""
    ours = "".join(f"{head:>8}" for head in ("p50", "p99", "max", "p99*"))
    floor = "".join(f"{head:>8}" for head in ("fl p50", "fl p99", "x p50", "x p99"))
    print(f"{'load':<10}{'link':<7}{'n':>6}{'stalls':>7}{ours}{floor}")


def report(load: str, times: Times, floor: Times | None, calm: Times | None, cpu: float) -> None:
    """A line a kind of link, and one for both; shifts are against ``calm``, the same without a load."""
    for kind in (*times, "both"):
        mine = parts(times, kind)
        if mine is None:
            continue
        text = f"{load:<10}{kind:<7}{mine.n:>6}{mine.stalls:>7}"
        text += "".join(f"{one * 1e3:>8.2f}" for one in (mine.p50, mine.p99, mine.most, mine.on_time))
        if floor and (low := parts(floor, kind)):
            text += f"{low.p50 * 1e3:>8.2f}{low.p99 * 1e3:>8.2f}{mine.p50 / low.p50:>8.1f}{mine.p99 / low.p99:>8.1f}"
        if kind == "both":
            text += f"   cpu {cpu:.0%}"
            if calm and load != NONE and (still := parts(calm, kind)):
                shifts = {
                    "p50": mine.p50 / still.p50,
                    "p99": mine.p99 / still.p99,
                    "p99*": mine.on_time / still.on_time,
                }
                text += "   shift " + ", ".join(f"{name} {by - 1:+.0%}" for name, by in shifts.items())
        print(text)
    sys.stdout.flush()
