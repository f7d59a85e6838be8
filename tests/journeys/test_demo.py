"""``keysoak demo`` as a stranger runs it: live page, real bays, earlier jobs, and nothing left after Ctrl-C."""

import contextlib
import re
import signal
import socket
from pathlib import Path

import httpx
import pytest

from daemon.api.client import Client
from daemon.store import Store
from daemon.store.items import JobStarted
from tests.journeys.children import Child, until
from tests.journeys.rig import free_port

pytestmark = pytest.mark.journey

PLAN = '[[phase]]\ndrive = "off"\nminutes = 1\n'


def children_of(pid: int) -> list[int]:
    """Processes that ``pid`` has started."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            with contextlib.suppress(FileNotFoundError, ProcessLookupError):
                # proc(5): the fields after the name in brackets are state, parent, ...
                if int((entry / "stat").read_text().rpartition(")")[2].split()[1]) == pid:
                    found.append(int(entry.name))
    return found


def test_the_demo_is_live_and_ctrl_c_leaves_no_process_behind(tmp_path: Path) -> None:
    """Eight bays soak, four of them over MQTT; six earlier jobs; a taken port is said; SIGINT ends all of it."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        demo = Child(tmp_path, "demo", "daemon.cli.main", "demo", "--port", port, "--data", tmp_path / "data")
        try:
            url, api = demo.hear(
                lambda line: found.groups() if (found := re.search(r"live at (\S+) .*API: (\S+),", line)) else None,
                "where it is live",
                wait_s=90,
            )
            assert any(f"port {port} is taken" in line for line in demo.said)
            assert httpx.get(url, trust_env=False).is_success
            with Client(api, timeout_s=15.0) as client:  # the machine may be busy
                bays = client.rack().bays
                jobs = client.jobs()
            assert [bay.bay for bay in bays] == [f"bay-{i}" for i in range(1, 9)]
            assert [bay.link.link for bay in bays if bay.link].count("broker") == 4
            assert all(bay.plan and not bay.stale for bay in bays)
            earlier = [job for job in jobs if job.ended_ns]
            assert [job.plan.total_s for job in earlier] == [7200.0] * 6
            assert [job.verdict for job in earlier].count("pass") == 5
            children = children_of(demo.process.pid)
            assert len(children) == len(["broker", "twins", "daemon", "page"])
            demo.process.send_signal(signal.SIGINT)
            demo.process.send_signal(signal.SIGTERM)  # as timeout(1) does, and a person who presses twice
            assert demo.process.wait(20) == 0
            assert not [pid for pid in children if Path(f"/proc/{pid}").exists()]
        finally:
            demo.end()


def test_a_demo_that_is_killed_takes_every_process_of_it_along(tmp_path: Path) -> None:
    """kill -9 leaves it no word to say, and still neither broker, twins, daemon nor page outlives it."""
    with Store(tmp_path / "data") as store:  # where something is kept, no earlier soaks are made
        store.put(JobStarted(1, "J-1", "a unit", "bay-1", "none", PLAN, {}, 0, 0.0))
    demo = Child(tmp_path, "demo", "daemon.cli.main", "demo", "--port", 0, "--data", tmp_path / "data")
    try:
        demo.hear(lambda line: line if "live at" in line else None, "that it is live", wait_s=90)
        children = children_of(demo.process.pid)
        assert len(children) == len(["broker", "twins", "daemon", "page"])
        demo.kill()
        until(lambda: not any(runs(pid) for pid in children), "the end of its processes")
    finally:
        demo.end()


def runs(pid: int) -> bool:
    """Whether a process is there, and not only waits to be forgotten by its parent."""
    with contextlib.suppress(FileNotFoundError, ProcessLookupError):
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    return False


def test_a_port_that_is_free_is_taken_as_asked() -> None:
    """The chooser gives the wanted port when nobody has it."""
    from daemon.demo.run import free_port as choose

    port = free_port()
    assert choose(port) == port
