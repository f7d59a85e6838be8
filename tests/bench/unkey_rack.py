"""The rack of the unkey bench: its broker, its rack.toml, and a day of readings to ask for and to seal."""

import contextlib
import os
import sqlite3
import time
from collections.abc import Sequence
from pathlib import Path

from daemon.store import Store
from daemon.store.frames import FrameWriter
from daemon.store.items import JobEnded, JobStarted
from tests.conftest import Broker

HZ = 10.0
DAY_S = 86_400
PLAN = """name = "bench"
[[phase]]
drive = "carrier"
minutes = 600
[limits]
over_current_dwell_s = 0.0
"""
#: a start is judged by what the load takes
LOAD = "load = { continuous_w = 50 }\n"
_CHANNELS = ("heatsink", "drain-1", "drain-2", "supply", "forward", "reflected", "load", "ambient", "key")


class PlainBroker(Broker):
    """A broker as a bench would have it: saving to disk after every change, as the tests' one does, takes seconds."""

    def go_first(self) -> None:
        """Rank it as another machine, which it may be."""
        if self._child is not None:
            with contextlib.suppress(PermissionError):
                os.sched_setscheduler(self._child.pid, os.SCHED_RR, os.sched_param(2))

    def settings(self) -> list[str]:
        """Its configuration."""
        return [line for line in super().settings() if not line.startswith("autosave")]


class Rack:
    """Folder, broker and bays of one size of rack: even bays on pseudo-terminals, odd ones on the broker.

    A soak runs between ``rest_s`` before its telling pack.
    """

    def __init__(self, folder: Path, broker: Broker, bays: int, links: str, rest_s: Sequence[float]) -> None:
        self.folder, self.broker, self.rest_s = folder, broker, rest_s
        names = [f"bay-{i}" for i in range(bays)]
        serial = [n for i, n in enumerate(names) if links == "serial" or (links == "both" and i % 2 == 0)]
        self.bays: dict[str, str | int] = {n: str(folder / n) if n in serial else broker.port for n in names}

    def kind(self, bay: str) -> str:
        """The kind of a bay's link."""
        return "serial" if isinstance(self.bays[bay], str) else "mqtt"

    def config(self, delivery: int | None) -> Path:
        """Write rack.toml, with a target that hangs where ``delivery`` is its port."""
        text = self._head("rack-1")
        if delivery:
            text += f'[[tell]]\nname = "hangs"\nurl = "json://127.0.0.1:{delivery}/"\n'
        for bay, where in self.bays.items():
            if isinstance(where, str):
                text += f'[[link]]\nname = "line-{bay}"\nkind = "serial"\nport = "{where}"\n'
        for bay, where in self.bays.items():
            link = f'link = "line-{bay}"' if isinstance(where, str) else f'link = "broker"\nnode = "node-{bay}"'
            text += f'[[bay]]\nname = "{bay}"\n{link}\nrate_hz = {HZ}\n{LOAD}'
        return self._file("rack.toml", text)

    def still(self) -> Path:
        """Write a rack.toml of a rack with as many bays, of which nobody ever says anything."""
        bays = (f'[[bay]]\nname = "{bay}"\nlink = "broker"\nnode = "node-{bay}"\n{LOAD}' for bay in self.bays)
        return self._file("still.toml", self._head("rack-0") + "".join(bays))

    def _head(self, name: str) -> str:
        data, port = self.folder / "data", self.broker.port
        return (
            f'[rack]\nname = "{name}"\ndata = "{data}"\n[api]\nport = 0\n'
            f'[[link]]\nname = "broker"\nkind = "mqtt"\nport = {port}\n'
        )

    def _file(self, name: str, text: str) -> Path:
        path = self.folder / name
        path.write_text(text)
        return path


def fill(data: Path) -> int:
    """A job of 24 hours at 10 Hz and nine channels in the store; returns its number."""
    with Store(data) as store:
        job = store.next_job()
        now_ns = time.time_ns()
        zero_ns = now_ns - 2 * DAY_S * 10**9
        store.put(JobStarted(job, "0001", "MR-25 no. 014", "bay-x", "day", PLAN, {}, zero_ns, 0.0))
        store.put(JobEnded(job, zero_ns + DAY_S * 10**9, "pass", [], {}))
    with contextlib.closing(sqlite3.connect(data / "frames.sqlite")) as db, db:
        names = ", ".join(f'"{name}"' for name in _CHANNELS)
        db.execute(
            f"""WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < {DAY_S * int(HZ) - 1})
            INSERT INTO frames (bay, time_ns, seq, job, clock_s, {names}, quality)
            SELECT 'bay-x', {zero_ns} + i * 100000000, i, {job}, i / 10.0, 41.5 + (i % 97) / 50.0,
                   1.9 + (i % 13) / 100.0, 1.88 + (i % 11) / 100.0, 13.7 + (i % 7) / 100.0, 24.6 + (i % 17) / 20.0,
                   0.05, 60 + (i % 31) / 10.0, 22 + (i % 23) / 50.0, 1.0, zeroblob(21) FROM n"""
        )
        last_ns = zero_ns + (DAY_S * int(HZ) - 1) * 100_000_000
        db.execute("INSERT OR REPLACE INTO spans VALUES (?, 'bay-x', ?, ?, ?)", (job, zero_ns, zero_ns, last_ns))
    with contextlib.closing(FrameWriter(data / "frames.sqlite")) as frames:
        while frames.fill():  # the daemon would do it in time; that is no load of those that are told
            pass
    return job
