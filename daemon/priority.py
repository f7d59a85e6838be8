"""Who goes first where processors are few: the safety loop's process, before all that it starts and all else."""

import os
from contextlib import suppress

#: nine times the share of a process of the usual 0 in its session (sched(7)), so that the API and what seals and sends
#: come after it, whatever they are asked
FIRST_NICE = -10
#: what answers questions, draws pages and sends messages
AFTER_NICE = 5


def go_first() -> None:
    """Raise this process, as far as it may: only an administrator, or a limit that one has set (RLIMIT_NICE)."""
    with suppress(PermissionError):
        os.setpriority(os.PRIO_PROCESS, 0, FIRST_NICE)


def go_after() -> None:
    """Lower this process, which the safety loop's has started and which began as high as that."""
    os.setpriority(os.PRIO_PROCESS, 0, AFTER_NICE)
