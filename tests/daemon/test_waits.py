"""A plan that waits for a person stands still, and everything that is shown of its job knows when and how long."""

from pathlib import Path

import pytest

from daemon.api.aligned import WAITED, PlanTime, as_run, in_plan_time
from daemon.api.models import BayStatus, Curve, CurvesView, JobView, WaitView
from daemon.bay import Bay
from daemon.certificate import chart
from daemon.notes import StoreNotes
from daemon.plan import Plan
from daemon.soak import Course
from daemon.store import Store
from sensors.types import CHANNELS, NAN, Frame, Quality

START_NS = 1_764_054_000 * 10**9
TEXT = """
name = "asks twice"
[[phase]]
drive = "idle"
minutes = 1
[[phase]]
drive = "carrier"
minutes = 2
ask = "Set FM"
[[phase]]
drive = "two-tone"
minutes = 1
ask = "Set SSB"
"""
PLAN = Plan.from_toml(TEXT)
#: two minutes at the first, half a minute at the second: 60 + 120 + 120 + 30 + 60 s
WAITS = [WaitView(phase=1, at_s=60, until_s=180), WaitView(phase=2, at_s=300, until_s=330)]
LASTED_S = 390.0


class Keys:
    """A key that nobody holds."""

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """Lend it."""

    def unkey(self, bay: str) -> None:
        """Take it back."""


def frame(at_s: float, *, key: bool, heat_c: float = 30.0) -> Frame:
    """A frame of bay-1."""
    given = {"heatsink": heat_c, "drain-1": 1.0 if key else 0.0, "supply": 13.8, "key": float(key)}
    given["forward"] = 25.0 if key else 0.0
    values = tuple(given.get(name, NAN) for name in CHANNELS)
    quality = bytes(Quality.GOOD if name in given else Quality.MISSING for name in CHANNELS)
    return Frame("bay-1", START_NS + round(at_s * 1e9), 1000 + at_s, round(at_s), values, quality)


def soaked(folder: Path, store: Store, *, ends: bool = True) -> JobView:
    """A live bay's soak with two waits, second by second; the job as it is kept."""
    bay = Bay("bay-1", Keys(), StoreNotes(store, aloud=False), sample_s=1.0)
    bay.take(frame(0, key=False))
    bay.start(PLAN, 1000.0, START_NS, job=store.next_job(), text=TEXT)
    for second in range(1, 500):
        if second in (180, 330) and (ends or second == 180):
            bay.done(1000.0 + second)
        if not bay.soaking:
            break
        one = frame(second, key=bay.lent, heat_c=30 + second / 100)
        store.put(one)
        bay.take(one)
    store.flush()
    return store.job(1)


def test_the_store_knows_when_the_plan_stood_still(tmp_path: Path) -> None:
    """To the phase's first instant, though the tick that saw it came later; a wait that runs has no end."""
    with Store(tmp_path / "over") as store:
        assert soaked(tmp_path, store).waits == WAITS
    with Store(tmp_path / "runs") as store:
        job = soaked(tmp_path, store, ends=False)
        assert job.ended_ns is None
        assert job.waits == [WAITS[0], WAITS[1].model_copy(update={"until_s": None})]


def test_a_wait_is_kept_though_the_daemon_is_killed_in_it(tmp_path: Path) -> None:
    """It is on disk with the readings of its time; a second run of the store ends the job, and the wait with it."""
    with Store(tmp_path) as store:
        soaked(tmp_path, store, ends=False)
    with Store(tmp_path) as again:
        job = again.job(1)
        assert job.ended_ns is not None
        ran = as_run(job.plan, job.waits, (job.ended_ns - job.started_ns) / 1e9)
    assert [p.drive for p in ran.phases] == ["idle", WAITED, "carrier", WAITED, "two-tone"]
    assert ran.phases[3].end_s > ran.phases[3].start_s == 300


def test_the_band_under_the_clock_has_the_waits_as_stretches_of_their_own() -> None:
    """Each phase is where it was run, in its length."""
    ran = as_run(PLAN.view(), WAITS, LASTED_S)
    spans = [(p.drive, p.start_s, p.end_s) for p in ran.phases]
    assert spans == [
        ("idle", 0, 60),
        (WAITED, 60, 180),
        ("carrier", 180, 300),
        (WAITED, 300, 330),
        ("two-tone", 330, 390),
    ]
    assert ran.total_s == LASTED_S
    assert as_run(PLAN.view(), [], LASTED_S) == PLAN.view()


@pytest.mark.parametrize(
    ("clock_s", "plan_s"), [(0, 0), (59, 59), (60, None), (179, None), (180, 60), (299, 179), (310, None), (331, 181)]
)
def test_the_clock_and_the_plan_agree(clock_s: float, plan_s: float | None) -> None:
    """There and back."""
    stood = PlanTime(WAITS, LASTED_S)
    assert stood.plan_s(clock_s) == plan_s
    if plan_s is not None:
        assert stood.since_start_s(plan_s) == clock_s


def test_curves_by_plan_time_leave_out_what_was_read_meanwhile(tmp_path: Path) -> None:
    """So that a minute of the plan is the same minute in every soak."""
    with Store(tmp_path) as store:
        job = soaked(tmp_path, store)
        curves = in_plan_time(store.curves(1), job)
    heat = next(c for c in curves.curves if c.channel == "heatsink")
    assert max(heat.at_s) <= PLAN.total_s + 10  # a plan that ends keyed is looked on after
    by_plan = dict(zip(heat.at_s, heat.value, strict=True))
    assert by_plan[61.0] == pytest.approx(30 + 181 / 100)
    assert by_plan[59.0] == pytest.approx(30 + 59 / 100)


def test_the_certificate_s_strip_shows_the_wait(tmp_path: Path) -> None:
    """As a part of its band, and the soak's whole time under it."""
    curve = Curve(channel="heatsink", unit="Cel", at_s=[0, LASTED_S], value=[20, 50])
    curves = CurvesView(job=1, from_s=0, to_s=LASTED_S, frames=2, curves=[curve])
    with_waits = chart.draw(curves, as_run(PLAN.view(), WAITS, LASTED_S), None)
    assert with_waits != chart.draw(curves, PLAN.view(), None)


def test_a_soak_gone_through_again_stands_still_where_it_stood() -> None:
    """As a job that is computed anew does; the plan is then where it was at every moment."""
    live = Course(PLAN, 1000.0, asks=True)
    again = Course(PLAN, 1000.0, asks=False, waited={w.phase: w.until_s or 0.0 for w in WAITS})
    for second in range(1, 391):
        at_s = 1000.0 + second
        if second in (180, 330):
            live.go_on(at_s)
        live.follow(at_s)
        again.follow(at_s)
        assert (again.elapsed_s, again.waiting, again.moment) == (live.elapsed_s, live.waiting, live.moment), second
    assert live.over == again.over == [(60.0, 120.0), (180.0, 30.0)]


def test_a_bay_shows_its_waits(tmp_path: Path) -> None:
    """At their minutes of the plan: the live strip is drawn by the plan's time."""
    with Store(tmp_path) as store:
        bay = Bay("bay-1", Keys(), StoreNotes(store, aloud=False), sample_s=1.0)
        bay.take(frame(0, key=False))
        bay.start(PLAN, 1000.0, START_NS, job=1, text=TEXT)
        bay.tick(1061.0, START_NS)
        assert bay.status is BayStatus.WAITING
        bay.done(1181.0)
        assert bay.course is not None
        assert bay.course.over == [(60.0, 121.0)]
