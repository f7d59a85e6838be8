"""Child processes of a journey: what they say is heard as it comes, and none of them outlives the test."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

T = TypeVar("T")

ROOT = Path(__file__).parents[2]
#: far beyond what any wait of a journey takes; the machine is shared
WAIT_S = 60.0
END_S = 20.0


def until(look: Callable[[], T | None], what: str, wait_s: float = WAIT_S) -> T:
    """What ``look`` finds, as soon as it finds something; fails with ``what`` when it finds nothing in time."""
    ends_s = time.monotonic() + wait_s
    while True:
        found = look()
        if found:
            return found
        assert time.monotonic() < ends_s, f"not in {wait_s:g} s: {what}"
        time.sleep(0.05)


class Child:
    """``python -m`` something, in a session of its own, its standard error in a file."""

    def __init__(self, folder: Path, name: str, *words: object) -> None:
        self.name = name
        self.said: list[str] = []
        self._log = folder / f"{name}.log"
        self._news = threading.Condition()
        with self._log.open("ab") as log:
            self.process = subprocess.Popen(
                # setpriv: not even a killed test run leaves a child behind
                ["setpriv", "--pdeathsig", "KILL", sys.executable, "-m", *map(str, words)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
                cwd=ROOT,
                start_new_session=True,
            )
        self._ear = threading.Thread(target=self._listen, daemon=True)
        self._ear.start()

    def _listen(self) -> None:
        assert self.process.stdout
        for line in self.process.stdout:
            with self._news:
                self.said.append(line)
                self._news.notify_all()
        with self._news:
            self._news.notify_all()

    def hear(self, wanted: Callable[[str], T | None], what: str, since: int = 0, wait_s: float = WAIT_S) -> T:
        """What ``wanted`` makes of the first line, from number ``since`` on, of which it makes anything."""
        ends_s = time.monotonic() + wait_s
        with self._news:
            while True:
                for line in self.said[since:]:
                    if (found := wanted(line)) is not None:
                        return found
                since = len(self.said)
                assert self.process.poll() is None, f"{self.name} has ended:\n{self.log()}"
                left_s = ends_s - time.monotonic()
                assert left_s > 0, f"{self.name} did not say in {wait_s:g} s: {what}\n{self.log()}"
                self._news.wait(min(left_s, 0.5))

    def log(self) -> str:
        """The end of what it said on standard error."""
        return self._log.read_text(encoding="utf-8", errors="replace")[-3000:]

    def kill(self) -> float:
        """kill -9; returns the monotonic instant just before."""
        before_s = time.monotonic()
        self.process.kill()
        self.process.wait(END_S)
        return before_s

    def end(self) -> int:
        """End it as a person would (SIGTERM); returns its exit status, after seeing that its session is empty."""
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(END_S)
            except subprocess.TimeoutExpired:
                os.killpg(self.process.pid, signal.SIGKILL)
                self.process.wait(END_S)
                raise AssertionError(f"{self.name} did not end in {END_S:g} s:\n{self.log()}") from None
        # a killed daemon's processes end by themselves: as soon as they come to look, which a busy machine delays
        ends_s = time.monotonic() + END_S
        while (left := _session(self.process.pid)) and time.monotonic() < ends_s:
            time.sleep(0.05)
        for pid in left:
            os.kill(pid, signal.SIGKILL)
        assert not left, f"{self.name} left processes behind: {left}"
        self._ear.join(END_S)
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe:
                pipe.close()
        return self.process.returncode


def _session(leader: int) -> list[int]:
    """Processes that run in the session of ``leader``."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                # proc(5): the fields after the name in brackets are state, ppid, pgrp, session
                state, _, _, session = (entry / "stat").read_text().rpartition(")")[2].split()[:4]
            except (FileNotFoundError, ProcessLookupError):
                continue
            if int(session) == leader and state != "Z":
                found.append(int(entry.name))
    return found


class Twins(Child):
    """The twin's process: radios on dummy loads, with their nodes."""

    def __init__(self, folder: Path, spec: str) -> None:
        path = folder / "twins.toml"
        path.write_text(spec, encoding="utf-8")
        super().__init__(folder, "twins", "sensors.twin", path)

    def mark(self) -> int:
        """Now, as a place in what has been said."""
        return len(self.said)

    def do(self, what: str, bay: str, **more: object) -> None:
        """One command."""
        assert self.process.stdin
        self.process.stdin.write(json.dumps({"do": what, "bay": bay, **more}) + "\n")
        self.process.stdin.flush()

    def event(self, event: str, bay: str, since: int = 0, wait_s: float = WAIT_S, **fields: object) -> dict[str, Any]:
        """The first such event since ``since``."""
        wanted = {"event": event, "bay": bay, **fields}

        def fits(line: str) -> dict[str, Any] | None:
            said: dict[str, Any] = json.loads(line)
            return said if wanted.items() <= said.items() else None

        return self.hear(fits, json.dumps(wanted), since, wait_s)

    def keyed(self, bay: str) -> bool:
        """Whether the radio is keyed, by its twin's own word."""
        events = [json.loads(line) for line in list(self.said)]
        return next((e["on"] for e in reversed(events) if e["event"] == "key" and e["bay"] == bay), False)


class Daemon(Child):
    """``keysoak serve``; ``module`` is the program whose command it is."""

    def __init__(self, folder: Path, rack: Path, module: str = "daemon.cli.main") -> None:
        super().__init__(folder, "daemon", module, "serve", "--rack", rack)

    def url(self) -> str:
        """Where its API answers, as soon as it does."""
        return self.hear(lambda line: line.split()[-1] if "answers at" in line else None, "where it answers")


class Page(Child):
    """``python -m dashboard``."""

    def __init__(self, folder: Path, api: str, port: int) -> None:
        super().__init__(folder, "page", "dashboard", "--api", api, "--port", port)
        self.url = f"http://127.0.0.1:{port}"
