"""What is asked before a page asks for it."""

from concurrent.futures import wait
from pathlib import Path

import pytest

from daemon.api.client import Client
from daemon.api.errors import ApiError, DaemonSilent
from daemon.store import Store
from daemon.store.items import JobStarted
from dashboard.ahead import POINTS, Ahead
from tests.dashboard.conftest import START_NS, daemon_in


def test_an_early_answer_serves_once_and_is_the_one_that_would_have_come(tmp_path: Path) -> None:
    """It is there although the daemon has gone since; who asks a second time hears how things are now."""
    with daemon_in(tmp_path) as api:
        with Client(api) as plain:
            job, curves = plain.job(1), plain.curves(1, None, None, POINTS)
        ahead = Ahead(api)
        wait(ahead.begin(1))
    assert ahead.job(1) == job
    assert ahead.curves(1, None, None, POINTS) == curves
    for ask in (lambda: ahead.job(1), lambda: ahead.curves(1, None, None, POINTS)):
        with pytest.raises(DaemonSilent):
            ask()
    ahead.close()


def test_what_nobody_asked_ahead_is_asked_now(api: str) -> None:
    """Another job, or a part of it; and a job that is not there is told to who asks for it."""
    with Ahead(api) as ahead:
        wait(ahead.begin(1))
        assert ahead.curves(1, 10.0, 20.0, POINTS).from_s == 10.0
        wait(ahead.begin(99))
        with pytest.raises(ApiError, match="no job 99"):
            ahead.job(99)
        assert ahead.job(1).job == 1


def test_a_soak_that_has_ended_is_drawn_as_it_was_heard_last(tmp_path: Path) -> None:
    """A zoom waits for no second answer; who asks how the soak stands is told anew."""
    with daemon_in(tmp_path) as api:
        ahead = Ahead(api)
        view = ahead.as_drawn(1)
        assert view.ended_ns is not None
    assert ahead.as_drawn(1) == view
    with pytest.raises(DaemonSilent):
        ahead.job(1)
    ahead.close()


def test_of_a_soak_that_runs_nothing_is_remembered(tmp_path: Path) -> None:
    """Its alerts and what its plan waits for are still to come."""

    def running(store: Store) -> None:
        store.put(JobStarted(1, "J-1", "MR-25 no. 014", "bay-1", "soak", "", {}, START_NS, 1000.0))

    with daemon_in(tmp_path, running) as api:
        ahead = Ahead(api)
        assert ahead.as_drawn(1).ended_ns is None
    with pytest.raises(DaemonSilent):
        ahead.as_drawn(1)
    ahead.close()
