"""What can wait comes after what can't: all keys of a rack are up before anything is written down of why."""

import asyncio
import math
from concurrent.futures import Future

from daemon.afterwards import Afterwards
from daemon.alertbook import AlertBook
from daemon.bay import Bay
from daemon.notes import StoreNotes
from daemon.plan import Plan
from daemon.store.items import AlertChanged, Item, JobEnded
from sensors.types import DRAINS, FORWARD, HEATSINK, KEY, SUPPLY, Frame, Quality

PLAN = """name = "bench"
[[phase]]
drive = "carrier"
minutes = 10
[limits]
over_current_dwell_s = 0.0
"""
BAYS = [f"bay-{i}" for i in range(64)]


def frame(bay: str, clock_s: float, drain_a: float) -> Frame:
    """A frame of a keyed radio with two devices."""
    values, quality = [math.nan] * 21, bytearray([Quality.MISSING] * 21)
    known = {HEATSINK: 41.0, DRAINS.start: drain_a, DRAINS.start + 1: drain_a, SUPPLY: 13.7, FORWARD: 25.0, KEY: 1.0}
    for i, value in known.items():
        values[i], quality[i] = value, Quality.GOOD
    return Frame(bay, round(clock_s * 1e9), clock_s, round(clock_s * 10), tuple(values), bytes(quality))


class Log:
    """Keys, a store's queue, and the order in which they were used."""

    def __init__(self) -> None:
        self.said: list[str] = []

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """Not looked at."""

    def unkey(self, bay: str) -> None:
        """A key comes up."""
        self.said.append(bay)

    def put(self, item: Item) -> None:
        """Something is kept."""
        if isinstance(item, AlertChanged | JobEnded):
            self.said.append(type(item).__name__)

    def next_job(self) -> int:
        """Not counted."""
        return 1

    def next_alert(self) -> int:
        """Count on."""
        return len(self.said) + 1

    def next_change(self) -> int:
        """Count on."""
        return len(self.said) + 1


def test_a_fault_that_trips_all_bays_at_once_unkeys_the_last_before_the_first_alert_is_written() -> None:
    """A mains dip, a shorted supply rail: 64 bays in one instant. By then every soak's end is in the store's queue."""

    async def scenario() -> list[str]:
        log, afterwards = Log(), Afterwards()
        notes = StoreNotes(log, aloud=False, book=AlertBook(log), later=afterwards)
        bays = [Bay(name, log, notes, sample_s=0.1) for name in BAYS]
        plan = Plan.from_toml(PLAN)
        for bay in bays:
            bay.take(frame(bay.name, 10.0, 1.9))
            bay.start(plan, 10.1, 0, job=1)
        log.said.clear()
        afterwards.begin(asyncio.get_running_loop())
        for clock_s in (10.2, 10.3):
            for bay in bays:
                bay.take(frame(bay.name, clock_s, 6.0))
        assert not any(bay.soaking for bay in bays)
        while afterwards.waiting:  # noqa: ASYNC110  each turn of the loop does a piece
            await asyncio.sleep(0)
        return log.said

    said = asyncio.run(scenario())
    first = said.index("AlertChanged")
    assert set(BAYS) <= set(said[:first])
    assert said[:first].count("JobEnded") == len(BAYS)
    assert said.count("AlertChanged") >= len(BAYS)


def test_what_waits_is_done_in_order_between_other_things_and_all_of_it_at_the_end() -> None:
    """Whoever comes to the loop meanwhile is heard between two pieces; the end leaves none undone."""

    async def scenario() -> None:
        done: list[int | str] = []
        afterwards = Afterwards()
        loop = asyncio.get_running_loop()
        afterwards.begin(loop)
        other: Future[None] = Future()
        for i in range(4):
            afterwards(lambda i=i: done.append(i))  # type: ignore[misc]
        assert done == []

        def a_pack() -> None:
            done.append("a pack")
            other.set_result(None)

        loop.call_soon(a_pack)
        await asyncio.wrap_future(other)
        assert done.index("a pack") < 3
        afterwards.finish()
        assert [one for one in done if one != "a pack"] == [0, 1, 2, 3]
        afterwards(lambda: done.append("at once"))
        assert done[-1] == "at once"

    asyncio.run(scenario())
