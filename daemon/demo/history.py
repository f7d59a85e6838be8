"""Soaks from before today, made by running whole plans of the twin through the pipeline of a live bay.

Time is the twin's own: packs go through the same intake, bay, rules and store as live ones, and the key goes back to
the twin as key packs; only nobody waits.
"""

import time
from pathlib import Path

from daemon.bay import Bay
from daemon.demo.world import EARLIER, RATE_HZ, Unit
from daemon.notes import StoreNotes
from daemon.plan import Plan
from daemon.store import Store
from sensors.intake import Intake
from sensors.lease import key_pack
from sensors.twin import instant
from sensors.types import LinkStats

PLAN = Path(__file__).parents[1] / "plans" / "two-hours.toml"
DAY_NS = 86_400 * 10**9


class TwinKeys:
    """The key of a twin in its own time."""

    def __init__(self, twin: instant.InstantBay) -> None:
        self._twin = twin

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """Lend the twin its key."""
        self._twin.hear(key_pack(bay, lease_s, on=True, tone=tone))

    def unkey(self, bay: str) -> None:
        """Take the key back."""
        self._twin.hear(key_pack(bay, 0.0, on=False))


def make_history(folder: Path) -> int:
    """Soak the earlier units, where the store is still empty; returns how many were soaked."""
    with Store(folder) as store:
        if store.jobs():
            return 0
        today_ns = time.time_ns() // DAY_NS * DAY_NS
        for i, unit in enumerate(EARLIER):
            # one in the afternoon of each of the last days
            start_ns = today_ns - (len(EARLIER) - i) * DAY_NS + 14 * 3600 * 10**9
            soak_instantly(unit, store, start_ns)
            store.flush(60.0)
    return len(EARLIER)


def soak_instantly(unit: Unit, store: Store, start_ns: int, plan_file: Path = PLAN) -> None:
    """Run one unit's whole plan, as fast as it goes."""
    text = plan_file.read_text(encoding="utf-8")
    plan = Plan.from_toml(text, plan_file)
    twin = instant.InstantBay(unit.twin(), start_ns)
    intake = Intake({unit.bay: {}}, LinkStats())
    notes = StoreNotes(store, aloud=False)
    bay = Bay(unit.bay, TwinKeys(twin), notes, sample_s=1 / RATE_HZ, tone=True)
    while bay.ended is None:
        pack = twin.advance(1 / RATE_HZ)
        now_ns = start_ns + int(twin.clock_s * 1e9)
        for frame in intake.feed(pack, twin.clock_s, now_ns):
            if bay.course is None:
                bay.take(frame)  # a bay that was never heard is not keyed
                job = store.next_job()
                bay.start(plan, twin.clock_s, now_ns, job=job, number=unit.number, unit=unit.unit, text=text)
            store.put(frame)
            bay.take(frame)
