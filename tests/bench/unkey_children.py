"""Processes of the unkey bench: heard line by line, each with its rank for the processor, none left behind."""

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

#: nodes and broker are other machines, and what is timed is not to be their own waiting for a processor: before all
MACHINE = ("chrt", "--rr", "2")
#: as the daemon ranks itself (daemon/priority.py); what is put in its place goes by the same
LIKE_THE_DAEMON = ("chrt", "--rr", "1")
#: of what stands for callers on other machines: it shares our processors, but it goes last
GUEST = ("sh", "-c", 'echo 19 >/proc/self/autogroup; exec nice -n 10 "$@"', "guest")
USUAL: Sequence[str] = ()


class Child:
    """A process of Python with its standard output heard line by line; killed at the end."""

    def __init__(self, *words: object, rank: Sequence[str] = USUAL, quiet: bool = False) -> None:
        self.process = subprocess.Popen(
            ["setpriv", "--pdeathsig", "KILL", *rank, sys.executable, *map(str, words)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL if quiet else None,
            text=True,
            cwd=ROOT,
            start_new_session=rank is GUEST,  # it ranks its session: within one, niceness ranks nothing else
        )

    def line(self) -> str:
        """The next line that it says."""
        assert self.process.stdout
        return self.process.stdout.readline()

    def end(self) -> None:
        """End it, and wait."""
        self.process.terminate()
        try:
            self.process.wait(15)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()

    def cpu_s(self) -> float:
        """Processor time of all its threads so far, its children not among them."""
        # proc(5): the fields after the name in brackets; utime and stime are numbers 14 and 15
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextlib.contextmanager
def child(*words: object, rank: Sequence[str] = USUAL, quiet: bool = False) -> Iterator[Child]:
    """Such a process, for a while."""
    made = Child(*words, rank=rank, quiet=quiet)
    try:
        yield made
    finally:
        made.end()


@contextlib.contextmanager
def shell(text: str) -> Iterator[None]:
    """A line of shell as a guest, in a session of its own, for a while."""
    words = ["setpriv", "--pdeathsig", "KILL", *GUEST, "sh", "-c", text]
    made = subprocess.Popen(words, cwd=ROOT, start_new_session=True, stdout=subprocess.DEVNULL)
    try:
        yield
    finally:
        os.killpg(made.pid, 9)
        made.wait()
