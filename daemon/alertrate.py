"""How often people are told something, against the figures that alarm management goes by."""

from collections.abc import Sequence

from daemon.api.alert_models import AlertRate

PART_NS = 600 * 10**9
PARTS_A_DAY = 144

#: ISA-18.2 clause 16.4, as public summaries tell it: a flood begins with more than ten in ten minutes, and is over
#: at the first ten minutes with fewer than five
FLOOD_BEGINS, FLOOD_ENDS = 10, 5

#: EEMUA 191, steady state, per ten minutes, as public summaries tell it: the average up to here, and the word for it
VERDICTS: tuple[tuple[float, str], ...] = (
    (1.0, "very likely acceptable"),
    (2.0, "manageable"),
    (10.0, "likely over-demanding"),
)
WORST = "very likely unacceptable"


def floods(counts: Sequence[int]) -> list[tuple[int, int]]:
    """First and last interval of each flood in ``counts`` per ten minutes, from 0, both included."""
    found: list[tuple[int, int]] = []
    since = -1
    for i, count in enumerate(counts):
        if since >= 0 and count < FLOOD_ENDS:
            found.append((since, i - 1))
            since = -1
        elif since < 0 and count > FLOOD_BEGINS:
            since = i
    if since >= 0:
        found.append((since, len(counts) - 1))
    return found


def verdict(average: float) -> str:
    """EEMUA 191's word for an average per ten minutes."""
    return next((word for most, word in VERDICTS if average <= most), WORST)


def rate(told_ns: Sequence[int], first_ns: int | None, now_ns: int) -> AlertRate:
    """The rate from the instants at which people were told something in the last day; ``first_ns``: ever."""
    kept = PARTS_A_DAY if first_ns is None else -(-(now_ns - first_ns) // PART_NS)
    parts = min(max(kept, 1), PARTS_A_DAY)
    counts = [0] * parts
    for time_ns in told_ns:
        ago = (now_ns - time_ns) // PART_NS
        if 0 <= ago < parts:
            counts[parts - 1 - ago] += 1
    average = sum(counts) / parts
    flooded = floods(counts)
    flood = bool(flooded) and flooded[-1][1] == parts - 1
    word = verdict(average)
    now = f"A flood of alerts: {counts[-1]} in the last ten minutes. " if flood else ""
    return AlertRate(
        since_ns=now_ns - parts * PART_NS,
        last_10_min=counts[-1],
        average_per_10_min=round(average, 3),
        most_in_10_min=max(counts),
        share_in_flood=round(sum(last - first + 1 for first, last in flooded) / parts, 6),
        flood=flood,
        verdict=word,
        text=f"{now}{average:.2g} alerts in ten minutes on average over {_span(parts)}: {word} (EEMUA 191)",
    )


def _span(parts: int) -> str:
    return f"{parts / 6:.0f} h" if parts >= 12 else f"{parts * 10} min"
