"""The daemon's process is raised where it may be, and what it starts is not."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

#: says its own policy, that of a thread made later, and policy and niceness of a child that comes after
LOOK = """
import os, subprocess, sys, threading
from daemon.priority import AFTER_NICE, after, go_first
go_first()
of = []
thread = threading.Thread(target=lambda: of.append(os.sched_getscheduler(0)))
thread.start()
thread.join()
say = "import os; print(os.sched_getscheduler(0), os.getpriority(os.PRIO_PROCESS, 0))"
child = subprocess.run(after([sys.executable, "-c", say], AFTER_NICE), capture_output=True, text=True, check=True)
print(os.sched_getscheduler(0), of[0], child.stdout.strip())
"""


def looked(*before: str) -> list[int]:
    """What it says, run by these words."""
    words = [*before, sys.executable, "-c", LOOK]
    return [int(word) for word in subprocess.run(words, capture_output=True, text=True, check=True).stdout.split()]


@pytest.mark.skipif(os.geteuid() != 0, reason="real time is an administrator's to give")
def test_all_threads_of_the_daemon_go_first_and_its_processes_come_after() -> None:
    """Real time for the one, the usual policy and a low rank for the others: they inherit nothing."""
    assert looked() == [os.SCHED_RR, os.SCHED_RR, os.SCHED_OTHER, 5]


def test_where_it_may_not_be_raised_the_daemon_runs_all_the_same() -> None:
    """An ordinary user without a limit of an administrator's: the usual policy, and what it starts still after it."""
    plain = ["setpriv", "--bounding-set=-sys_nice", "--inh-caps=-sys_nice"] if os.geteuid() == 0 else []
    own, thread, child, nice = looked(*plain)
    assert (own, thread, child) == (os.SCHED_OTHER,) * 3
    assert nice == 5


@pytest.mark.skipif(not Path("/proc/self/autogroup").exists(), reason="this kernel ranks processes, not sessions")
def test_what_leads_a_session_of_its_own_steps_back_behind_all_others() -> None:
    """proc(5): the niceness of the session as a whole."""
    say = "from daemon.priority import step_back; step_back(10); print(open('/proc/self/autogroup').read())"
    told = subprocess.run(
        [sys.executable, "-c", say], start_new_session=True, capture_output=True, text=True, check=True
    )
    assert told.stdout.split()[-2:] == ["nice", "10"]
