"""Child processes of the demo that can't outlive it, however it ends."""

import ctypes
import signal
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Self

PR_SET_PDEATHSIG = 1  # prctl(2), Linux
END_S = 5.0

_libc = ctypes.CDLL(None, use_errno=True)


def _die_with_parent() -> None:
    # also when the demo itself is killed with -9: nothing may go on keying
    _libc.prctl(PR_SET_PDEATHSIG, signal.SIGTERM)


class Children:
    """Starts child processes, each with a log of its own, and ends them in the reverse order."""

    def __init__(self, logs: Path) -> None:
        self._logs = logs
        self._running: list[tuple[str, subprocess.Popen[bytes]]] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.end()

    def start(
        self, name: str, words: Sequence[str | Path], env: Mapping[str, str] | None = None
    ) -> subprocess.Popen[bytes]:
        """Start one; a Ctrl-C at the terminal reaches the demo alone, which ends its children in order."""
        with (self._logs / f"{name}.log").open("ab") as log:
            process = subprocess.Popen(
                [str(word) for word in words],
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=log,
                env=None if env is None else dict(env),
                start_new_session=True,
                preexec_fn=_die_with_parent,  # noqa: PLW1509  the demo starts them before it has a second thread
            )
        self._running.append((name, process))
        return process

    def ended(self) -> str | None:
        """The name of a child that has ended by itself, if one has."""
        return next((name for name, process in self._running if process.poll() is not None), None)

    def tail(self, name: str, lines: int = 10) -> str:
        """The last lines of a child's log."""
        text = (self._logs / f"{name}.log").read_text(encoding="utf-8", errors="replace")
        return "\n".join(text.splitlines()[-lines:])

    def end(self) -> None:
        """End all that runs, the youngest first; one that does not go in time is killed."""
        for _, process in reversed(self._running):
            if process.poll() is None:
                process.terminate()
            try:
                process.wait(timeout=END_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            if process.stdin:
                process.stdin.close()
        self._running.clear()
