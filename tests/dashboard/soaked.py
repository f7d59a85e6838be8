"""Five soaks of one plan that are over: four good ones and one that failed."""

from daemon.store import Store
from daemon.store.items import JobEnded, JobStarted
from tests.dashboard.conftest import START_NS, frame

PLAN = """name = "evening"
[[phase]]
drive = "off"
minutes = 1
[[phase]]
drive = "carrier"
minutes = 4
"""
HOUR_NS = 3600 * 10**9


def five_soaks(store: Store) -> None:
    """Jobs 1 to 5, an hour apart; job 4 failed, for it was hotter than the others by far."""
    for job in range(1, 6):
        begun_ns = START_NS + job * HOUR_NS
        unit = f"MR-25 no. {13 + job:03d}"
        store.put(
            JobStarted(
                job, f"J-{job}", unit, "bay-1", "evening", PLAN, {"heatsink_c": 75.0}, begun_ns, 1000.0 + job * 3600
            )
        )
        for i in range(300):
            on = float(i >= 60)
            heat = 22.0 + job + (i - 60) * (0.2 if job == 4 else 0.1) * on
            at_s = job * 3600.0 + i
            store.put(
                frame(at_s, heatsink=heat, drain_1=2 * on, drain_2=2.1 * on, supply=13.8, forward=25 * on, key=on)
            )
        verdict, why = ("fail", "heat") if job == 4 else ("pass", "none")
        store.put(JobEnded(job, begun_ns + 300 * 10**9, verdict, [why], {"heatsink_max_c": 50.0}))
