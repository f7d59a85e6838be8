"""``keysoak demo``: broker, twins, daemon and page, each a process of its own, put together as at a real bench."""

import contextlib
import os
import shutil
import signal
import socket
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Never

import typer

from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.api.models import SoakOrder
from daemon.demo.history import make_history
from daemon.demo.process import Children
from daemon.demo.world import LOAD, NOTE, NOTE_NO_BROKER, RACK, RATE_HZ, UNITS
from daemon.errors import DaemonError
from daemon.files import read_text

PLANS = Path(__file__).parents[1] / "plans"
HOST = "127.0.0.1"
READY_S = 40.0
ENDING = (signal.SIGINT, signal.SIGTERM)
BROKER_FOLDERS = "/usr/local/sbin:/usr/sbin"  # where Debian puts it, off an ordinary user's PATH


class DemoFailed(DaemonError):
    """A part of the demo did not come up; ``part`` names it."""

    def __init__(self, part: str, what: str) -> None:
        self.part = part
        super().__init__(f"the demo's {part} did not come up:\n{what}")


def run(port: int, data: Path | None) -> int:
    """Run the demo until Ctrl-C or SIGTERM; no process of it is left then."""
    for number in ENDING:
        signal.signal(number, _as_interrupt)
    with _data_folder(data) as folder, tempfile.TemporaryDirectory(prefix="keysoak-demo-") as temporary:
        here = Path(temporary)
        try:
            with Children(here) as children:
                _bring_up(children, here, folder, port)
                while (ended := children.ended()) is None:
                    time.sleep(0.5)
                raise DemoFailed(ended, children.tail(ended))
        except KeyboardInterrupt:
            typer.echo("\nkeysoak: all bays unkeyed, the demo has ended")
            return 0


def _bring_up(children: Children, here: Path, data: Path, port: int) -> None:
    broker_port = _start_broker(children, here)
    ports = [
        f'{{ pty = "{here / unit.bay}" }}'
        if broker_port is None or i < len(UNITS) // 2
        else f'{{ mqtt = {{ host = "{HOST}", port = {broker_port}, rack = "{RACK}", node = "node-{i + 1}" }} }}'
        for i, unit in enumerate(UNITS)
    ]
    spec = here / "twins.toml"
    spec.write_text("".join(u.spec(p) for u, p in zip(UNITS, ports, strict=True)), encoding="utf-8")
    children.start("twins", [sys.executable, "-m", "sensors.twin", spec])

    made = make_history(data)
    if made:
        typer.echo(f"keysoak: {made} earlier soaks of two hours were run in the twin's own time")

    api_port, page_port = free_port(), free_port(port)
    rack = here / "rack.toml"
    rack.write_text(_rack_toml(here, data, api_port, broker_port), encoding="utf-8")
    keysoak = [sys.executable, "-m", "daemon.cli.main"]
    children.start("daemon", [*keysoak, "serve", "--rack", rack])
    api = f"http://{HOST}:{api_port}"
    page = [sys.executable, "-m", "dashboard", "--api", api, "--host", HOST, "--port", str(page_port)]
    children.start("page", page)
    with Client(api) as client:
        _start_soaks(children, client)
    _wait_for_port(children, page_port)
    if port and page_port != port:
        typer.echo(f"keysoak: port {port} is taken, so the page is at {page_port}")
    typer.echo(f"keysoak: the rack is live at http://{HOST}:{page_port}   (API: {api}, readings: {data})")
    typer.echo("keysoak: Ctrl-C ends the demo")
    sys.stdout.flush()


def _start_broker(children: Children, here: Path) -> int | None:
    found = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:{BROKER_FOLDERS}")
    if found is None:
        return None
    port = free_port()
    conf = here / "mosquitto.conf"
    lines = [f"listener {port} {HOST}", "allow_anonymous true", "persistence false"]
    if os.geteuid() == 0:
        # else it changes its user, which clears its parent-death signal (prctl(2)): it would outlive a killed demo
        lines.append("user root")
    conf.write_text("\n".join(lines) + "\n", encoding="utf-8")
    children.start("broker", [found, "-c", conf])
    _wait_for_port(children, port)
    return port


def _rack_toml(here: Path, data: Path, api_port: int, broker_port: int | None) -> str:
    note = NOTE + (NOTE_NO_BROKER if broker_port is None else "")
    out = [f'[rack]\nname = "{RACK}"\ndata = "{data.resolve()}"\nnote = "{note}"\n[api]\nport = {api_port}\n']
    if broker_port is not None:
        out.append(f'[[link]]\nname = "broker"\nkind = "mqtt"\nport = {broker_port}\n')
    for i, unit in enumerate(UNITS):
        if broker_port is None or i < len(UNITS) // 2:
            out.append(f'[[link]]\nname = "line-{i + 1}"\nkind = "serial"\nport = "{here / unit.bay}"\n')
            where = f'link = "line-{i + 1}"'
        else:
            where = f'link = "broker"\nnode = "node-{i + 1}"'
        out.append(f'[[bay]]\nname = "{unit.bay}"\n{where}\nrate_hz = {RATE_HZ}\ntone = true\nload = {LOAD}\n')
    return "\n".join(out)


def _start_soaks(children: Children, client: Client) -> None:
    plan = read_text(PLANS / "ten-minutes.toml")
    waiting = {unit.bay: unit for unit in UNITS}
    for _ in _until("daemon", children, READY_S):
        try:
            heard = [bay.bay for bay in client.rack().bays if not bay.stale]
        except ApiError:
            continue
        for name in heard:
            unit = waiting.pop(name, None)
            if unit:
                client.soak(name, SoakOrder(plan=plan, number=unit.number, unit=unit.unit))
        if not waiting:
            return
    raise DemoFailed("twins", f"nothing is heard from {', '.join(waiting)}\n{children.tail('twins')}")


def _until(part: str, children: Children, timeout_s: float) -> Iterator[None]:
    end_s = time.monotonic() + timeout_s
    while time.monotonic() < end_s:
        yield
        ended = children.ended()
        if ended is not None:
            raise DemoFailed(ended, children.tail(ended))
        time.sleep(0.1)


def _wait_for_port(children: Children, port: int) -> None:
    for _ in _until("page", children, READY_S):
        with contextlib.suppress(OSError), socket.create_connection((HOST, port), timeout=1):
            return
    raise DemoFailed("page", f"nothing answers at {HOST}:{port}")


def free_port(wanted: int = 0) -> int:
    """``wanted`` where it is free, else one that the system chooses."""
    for port in (wanted, 0):
        with contextlib.suppress(OSError), socket.create_server((HOST, port)) as probe:
            chosen: int = probe.getsockname()[1]
            return chosen
    raise DemoFailed("page", "no port is free on this machine")


@contextlib.contextmanager
def _data_folder(data: Path | None) -> Iterator[Path]:
    base = os.environ.get("XDG_DATA_HOME")
    home = Path(base) if base else Path.home() / ".local" / "share"
    folder = data or home / "keysoak" / "demo"
    folder.mkdir(parents=True, exist_ok=True)
    yield folder


def _as_interrupt(*_: object) -> Never:
    for number in ENDING:
        signal.signal(number, signal.SIG_IGN)  # a second Ctrl-C, or timeout(1)'s, must not end the ending
    raise KeyboardInterrupt
