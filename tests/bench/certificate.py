"""The certificate of a soak of 24 hours at 10 Hz, asked for as a page does: what it takes of the clock and a processor.

    .venv/bin/python -m tests.bench.certificate

Takes about three minutes; everything is in a temporary folder, and every figure is of this run on this machine. Asked
for at once after its process has started, the first one also loads what draws and sets; a little later that is there.
"""

import os
import socket
import tempfile
import time
from pathlib import Path

import httpx

from daemon.api.certificates import LOAD_ANYWAY_S
from daemon.api.doors import Door
from daemon.store import Store
from tests.bench.curves import built, say
from tests.journeys.children import until

TICKS_S = os.sysconf("SC_CLK_TCK")


def used_s(pid: int) -> float:
    """What a process has used of a processor (proc(5): the fields after its name)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS_S


def resident_mb(pid: int) -> float:
    """Its memory."""
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def asked(folder: Path, job: int, wait_s: float) -> None:
    """Start the process that makes them, and ask for each so long after."""
    listener = socket.create_server(("127.0.0.1", 0))
    url = f"http://127.0.0.1:{listener.getsockname()[1]}"
    door = Door("history", listener, str(folder), "127.0.0.1", '{"name": "the workshop"}')
    try:
        while not door.ready:
            time.sleep(0.05)
        pid, before_mb = door.pid, resident_mb(door.pid)
        time.sleep(wait_s)
        say(f"{wait_s:g} s after its start, {before_mb:.0f} MB then, {resident_mb(pid):.0f} MB now")
        for word in ("first", "again"):
            for ending in ("pdf", "html"):
                began_s, before_s = time.perf_counter(), used_s(pid)
                made = httpx.get(f"{url}/v1/jobs/{job}/certificate.{ending}", timeout=60, trust_env=False)
                took_s, cpu_s = time.perf_counter() - began_s, used_s(pid) - before_s
                say(
                    f"  {word} {ending}: {took_s:.2f} s, of a processor {cpu_s:.2f} s, {len(made.content) / 1e3:.0f} kB"
                )
    finally:
        door.close()


def main() -> None:
    """Make it a few times."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        job = built(folder)
        with Store(folder) as store:
            until(lambda: store.seals.of(job, job), "the job is sealed")
        asked(folder, job, 0.0)
        asked(folder, job, LOAD_ANYWAY_S + 5.0)


if __name__ == "__main__":
    main()
