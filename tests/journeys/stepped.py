"""``keysoak`` on a machine whose wall clock is stepped: SIGUSR1 puts it an hour on, SIGUSR2 an hour back.

A launcher for one journey: the clock of the machine itself is not to be touched by a test.
"""

import signal
import time
from types import FrameType

HOUR_NS = 3600 * 10**9

_real_ns = time.time_ns
_step_ns = 0


def _stepped_ns() -> int:
    return _real_ns() + _step_ns


def _step(number: int, _: FrameType | None) -> None:
    global _step_ns  # noqa: PLW0603  it is the clock of a whole process
    _step_ns += HOUR_NS if number == signal.SIGUSR1 else -HOUR_NS


if __name__ == "__main__":
    # before anything of the program is imported: it binds the clock where it is made
    time.time_ns = _stepped_ns
    time.time = lambda: _stepped_ns() / 1e9
    for number in (signal.SIGUSR1, signal.SIGUSR2):
        signal.signal(number, _step)
    from daemon.cli.main import main

    main()
