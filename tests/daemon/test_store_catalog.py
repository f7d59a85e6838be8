"""Jobs and findings: kept, read back, and moved on from version to version."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import msgspec
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from alerts.types import Finding
from daemon.errors import NoSuch, StoreUnfit
from daemon.migrations import NEWEST
from daemon.store import Reader, Store
from daemon.store.catalog import engine
from daemon.store.items import FindingKept, JobEnded, JobStarted
from daemon.store.reader import CATALOG
from daemon.store.tables import TABLES
from sensors.types import NAN, Frame

MakeFrame = Callable[..., Frame]
MakeJob = Callable[..., JobStarted]
MakeFinding = Callable[..., Finding]


def test_a_job_reads_back_with_its_plan_limits_verdict_and_tags(
    store: Store, job_at: MakeJob, finding_at: MakeFinding
) -> None:
    """Everything that was put about it, findings in their order, with a figure that is not finite as unknown."""
    started = job_at(1)
    store.put(started)
    store.put(FindingKept(1, 12.5, finding_at(12.5, "first")))
    store.put(FindingKept(1, 11.0, finding_at(11.0, "second", value=NAN)))
    figures = {"heatsink_max_c": 76.1, "swr_max": NAN, "supply_min_v": float("inf")}
    store.put(JobEnded(1, started.started_ns + 10**9, "fail", ["heatsink too hot"], figures))
    store.flush()
    view = store.job(1)
    assert (view.job, view.number, view.unit, view.bay) == (1, "J-1", "MR-25 no. 014", "bay-1")
    assert (view.started_ns, view.ended_ns) == (started.started_ns, started.started_ns + 10**9)
    assert (view.verdict, view.reasons) == ("fail", ["heatsink too hot"])
    assert view.figures == {"heatsink_max_c": 76.1, "swr_max": None, "supply_min_v": None}
    assert view.limits == {"heatsink_c": 75.0}
    assert (view.plan.total_s, view.plan.phases[0].drive) == (7200.0, "carrier")
    assert [(tag.at_s, tag.text, tag.value) for tag in view.tags] == [(12.5, "first", 76.0), (11.0, "second", None)]
    assert (view.tags[0].event, view.tags[0].priority) == ("raised", "trip")
    assert store.findings(1) == view.tags


def test_jobs_come_newest_first_each_with_its_own_tags(store: Store, job_at: MakeJob, finding_at: MakeFinding) -> None:
    """And no more of them than asked for."""
    for job in (1, 2, 3):
        store.put(job_at(job, bay=f"bay-{job}"))
        store.put(FindingKept(job, 1.0, finding_at(1.0, f"of {job}")))
    store.flush()
    assert [(job.job, [tag.text for tag in job.tags]) for job in store.jobs(2)] == [(3, ["of 3"]), (2, ["of 2"])]
    assert len(store.jobs()) == 3


def test_a_running_job_has_neither_end_nor_verdict(store: Store, job_at: MakeJob) -> None:
    """It is unknown, not empty."""
    store.put(job_at(1))
    store.flush()
    assert (store.job(1).ended_ns, store.job(1).verdict) == (None, None)


def test_a_job_that_is_not_there_is_an_error_that_names_those_that_are(store: Store, job_at: MakeJob) -> None:
    """For findings and readings as for the job itself."""
    store.put(job_at(4))
    store.flush()
    for ask in (store.job, store.findings, store.job_frames, store.curves, store.strip):
        with pytest.raises(NoSuch) as caught:
            ask(9)
        assert caught.value.known == ["4"]


def test_a_job_whose_plan_this_version_can_not_read_is_still_there(store: Store, job_at: MakeJob) -> None:
    """Its readings are worth as much; the plan is shown by its name alone."""
    store.put(msgspec.structs.replace(job_at(1), plan_text="phase = 7"))
    store.flush()
    (job,) = store.jobs()
    assert (job.plan.name, job.plan.phases) == ("evening soak", [])


def test_an_item_that_no_disk_would_take_costs_no_other(
    store: Store, job_at: MakeJob, finding_at: MakeFinding, frame_at: MakeFrame
) -> None:
    """A text that is no Unicode, a time beyond 64 bits, a finding of no job: counted and told, the rest is kept."""
    far, nowhere, odd = frame_at(2), frame_at(4), frame_at(5)
    far.time_ns = 2**70
    nowhere.clock_s = NAN
    odd.seq = 2**64
    store.put(job_at(1))
    store.put(msgspec.structs.replace(job_at(2, bay="bay-2"), unit="\ud800"))
    store.put(FindingKept(1, 1.0, finding_at(1.0, "kept")))
    store.put(FindingKept(77, 1.0, finding_at(1.0)))
    for frame in (frame_at(1), far, frame_at(3), nowhere, odd, frame_at(6)):
        store.put(frame)
    store.flush()
    assert [job.job for job in store.jobs()] == [1]
    assert [tag.text for tag in store.findings(1)] == ["kept"]
    assert [f.seq for f in store.frames("bay-1", 0, 2**62)] == [1, 3, 6]
    assert store.curves(1).frames == 3
    assert store.dropped == 5
    assert "5 readings could not be kept" in store.error
    assert store.behind == 0


def test_job_numbers_go_on_after_a_restart(tmp_path: Path, job_at: MakeJob) -> None:
    """No number is given twice."""
    with Store(tmp_path) as store:
        assert [store.next_job(), store.next_job()] == [1, 2]
        store.put(job_at(2))
    with Store(tmp_path) as store:
        assert store.next_job() == 3


def test_a_job_that_a_dead_daemon_left_behind_becomes_incomplete(
    tmp_path: Path, job_at: MakeJob, frame_at: MakeFrame
) -> None:
    """With the reason, and with its end at the last reading that was kept; one that had ended stays as it is."""
    with Store(tmp_path) as store:
        store.put(job_at(1))
        store.put(JobEnded(1, 5, "pass", [], {}))
        store.put(job_at(2))
        store.put(frame_at(0))
        store.put(frame_at(90))
    with Store(tmp_path) as store:
        job = store.job(2)
        assert job.verdict == "incomplete"
        assert job.ended_ns == frame_at(90).time_ns
        assert "stopped in mid-soak" in job.reasons[0]
        assert "90 s" in job.reasons[0]
        assert store.job(1).verdict == "pass"


def test_the_migrations_lead_to_the_tables_that_the_code_uses(store: Store, tmp_path: Path) -> None:
    """Alembic finds nothing to change between a fresh catalog and the tables."""
    with engine(tmp_path / "data" / CATALOG).connect() as db:
        assert compare_metadata(MigrationContext.configure(db), TABLES) == []


def test_a_catalog_of_the_newest_form_is_known_by_its_revision_alone(store: Store, tmp_path: Path) -> None:
    """What brings one on loads slowly: the files' names say which step is the last, as Alembic finds it."""
    with engine(tmp_path / "data" / CATALOG).connect() as db:
        assert MigrationContext.configure(db).get_current_revision() == NEWEST


def test_a_catalog_of_a_newer_keysoak_is_left_alone(tmp_path: Path) -> None:
    """A step that is not known is refused, not guessed at; and the folder is free again afterwards."""
    Store(tmp_path).close()
    with closing(sqlite3.connect(tmp_path / CATALOG)) as db, db:
        known = db.execute("SELECT version_num FROM alembic_version").fetchone()
        db.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(StoreUnfit, match="newer keysoak") as caught:
        Store(tmp_path)
    assert caught.value.path == tmp_path / CATALOG
    with closing(sqlite3.connect(tmp_path / CATALOG)) as db, db:
        db.execute("UPDATE alembic_version SET version_num = ?", known)
    Store(tmp_path).close()


def test_a_catalog_that_is_no_database_is_named(tmp_path: Path) -> None:
    """The error says which file."""
    (tmp_path / CATALOG).write_bytes(b"not a database at all, but long enough to look at\n" * 20)
    with pytest.raises(StoreUnfit) as caught:
        Store(tmp_path)
    assert caught.value.path == tmp_path / CATALOG


def test_a_folder_without_a_store_is_told_to_a_reader(tmp_path: Path) -> None:
    """A reader makes nothing; it says what is missing."""
    with pytest.raises(StoreUnfit, match=r"catalog\.sqlite is missing"):
        Reader(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_can_not_be_made_is_named(tmp_path: Path) -> None:
    """A file where the folder should be."""
    (tmp_path / "data").write_text("")
    with pytest.raises(StoreUnfit, match="data"):
        Store(tmp_path / "data")


def test_the_folder_may_have_any_name(tmp_path: Path, job_at: MakeJob) -> None:
    """Spaces, per cent and question marks mean nothing here."""
    folder = tmp_path / "50 % of what? #1"
    with Store(folder) as store:
        store.put(job_at(1))
        store.flush()
        assert [job.job for job in Reader(folder).jobs()] == [1]
