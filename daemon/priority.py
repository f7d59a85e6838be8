"""Who goes first where processors are few: the safety loop's process, before all that it starts and all else."""

import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

#: the lowest real-time priority: before every process of the usual kind, behind whatever an administrator put higher
#: (sched(7)). With niceness alone, which counts within one session only, an unkey waited for whole turns of others
FIRST_TURN = 1
#: nine times the share of a process of the usual 0 in its session, where real time may not be had
FIRST_NICE = -10
USUAL_NICE = 0
#: what answers questions, draws pages and sends messages
AFTER_NICE = 5
#: what may take its time: sealing, sending
LAST_NICE = 10


def go_first() -> None:
    """Raise this process, and the threads that it starts from now on, as far as it may.

    Only an administrator may, or whom one has allowed it (RLIMIT_RTPRIO, RLIMIT_NICE). Linux keeps a twentieth of each
    second for others (sched(7), sched_rt_runtime_us), so that a fault of ours leaves a machine that can be reached.
    """
    with suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(FIRST_TURN))
    with suppress(PermissionError):
        os.setpriority(os.PRIO_PROCESS, 0, FIRST_NICE)


def after(words: Sequence[str], nice: int) -> list[str]:
    """The command ``words`` as one that is started from here and comes after: of the usual kind, with that niceness."""
    by_nice = ["nice", "-n", str(nice - os.getpriority(os.PRIO_PROCESS, 0)), *words]
    return by_nice if os.sched_getscheduler(0) == os.SCHED_OTHER else ["chrt", "--other", "0", *by_nice]


def step_back(nice: int) -> None:
    """Rank the session of this process against all others of the machine, if it leads it.

    Linux shares processors out by session first (sched(7), autogroup): niceness alone counts within it only, and
    something that leads a session of its own took as much as all else there.
    """
    if os.getsid(0) == os.getpid():  # else it is somebody else's
        with suppress(OSError):  # a kernel without it
            Path("/proc/self/autogroup").write_text(str(nice))
