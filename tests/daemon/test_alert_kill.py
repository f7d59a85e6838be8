"""A daemon that is really killed (SIGKILL) in the midst of raising alerts: what comes back, and what does not."""

import subprocess
import sys
import time
from pathlib import Path

import pytest

from alerts.types import Event, Finding, Priority
from daemon.alertbook import AlertBook
from daemon.store import Store

#: raises one alert after the other, says each id as soon as it is given out, and what is surely on disk
CHILD = """
import sys, time
from pathlib import Path
from alerts.types import Event, Finding, Priority
from daemon.alertbook import AlertBook
from daemon.store import Store

store = Store(Path(sys.argv[1]))
book = AlertBook(store, store.alerts.open())
i = 0
while True:
    book.hear(0, Finding(i, "bay-1", "keying", Event.RAISED, Priority.TRIP, 1.0, 0.0, "A", "stuck", f"key {i}"))
    print("given", max(book.open), flush=True)
    if i % 7 == 0:
        store.flush()
        print("kept", i, flush=True)
    i += 1
"""


def raised(i: int) -> Finding:
    """The i-th condition, once more."""
    return Finding(i, "bay-1", "keying", Event.RAISED, Priority.TRIP, 1.0, 0.0, "A", "stuck", f"key {i}")


@pytest.mark.parametrize("lines", [2, 60, 400])
def test_a_kill_loses_nothing_that_was_kept_tells_nothing_twice_and_reuses_no_id(tmp_path: Path, lines: int) -> None:
    """Killed after so many lines, wherever it then is: in a commit, before one, between two."""
    child = subprocess.Popen([sys.executable, "-c", CHILD, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    with child.stdout:
        said = [child.stdout.readline().split() for _ in range(lines)]
        child.kill()
        child.wait(10)
        # what it still said before the kill
        said += [line.split() for line in child.stdout.read().splitlines(keepends=True) if line.endswith("\n")]
    given = [int(word) for what, word in said if what == "given"]
    kept = max((int(word) for what, word in said if what == "kept"), default=-1)
    assert given == sorted(set(given))

    with Store(tmp_path) as store:
        found = store.alerts.open()
        subjects = {alert.subject for alert in found}
        assert {f"key {i}" for i in range(kept + 1)} <= subjects
        assert all((alert.state, alert.returned_ns) == ("unacknowledged", None) for alert in found)
        book = AlertBook(store, found, store.alerts.changes(alert.id for alert in found))
        for i in range(kept + 1):
            book.hear(0, raised(i))
        book.hear(0, raised(10**6))
        assert max(book.open) > max(given)
        store.flush()
        changes = store.alerts.changes(alert.id for alert in found)
        assert all([change.told for change in rows] == [True] for rows in changes.values())


def test_an_alert_is_on_disk_long_before_a_group_of_readings_would_be(tmp_path: Path) -> None:
    """It does not wait for the half second in which frames are grouped."""
    with Store(tmp_path, commit_s=60.0) as store:
        AlertBook(store).hear(0, raised(1))
        ends_s = time.monotonic() + 10.0
        while store.behind and time.monotonic() < ends_s:
            time.sleep(0.001)
        assert [alert.id for alert in store.alerts.open()] == [1]


def test_ids_go_on_from_what_an_earlier_run_may_have_given_out(tmp_path: Path) -> None:
    """Also where that run kept none of its alerts, and beyond the first hundred."""
    with Store(tmp_path) as store:
        first = [store.next_alert() for _ in range(250)]
    with Store(tmp_path) as store:
        assert store.next_alert() > max(first)
