"""``keysoak probe`` on a real line: a node that sends raw ratios and volts, and a thermistor whose wire is off."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from sensors.twin import raw
from tests.journeys.children import Twins

pytestmark = pytest.mark.journey

CHANNELS = ["heatsink", "drain-1", "drain-2", "forward", "reflected"]


@pytest.fixture
def twins(tmp_path: Path) -> Iterator[Twins]:
    """Two raw nodes on serial lines, one with an open thermistor."""
    unit = '[[unit]]\nbay = "{bay}"\nrate_hz = 5.0\nraw = true\nport = {{ pty = "{port}" }}\n'
    spec = "".join(unit.format(bay=bay, port=tmp_path / bay) for bay in ("bay-1", "bay-2"))
    child = Twins(tmp_path, spec + 'fault = [{ kind = "open-sensor", channel = "heatsink" }]\n')
    for bay in ("bay-1", "bay-2"):
        child.event("ready", bay)
    yield child
    child.end()


def probe(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run it on a rack.toml with the twin's own wiring."""
    text = f'[rack]\ndata = "{folder}"\n[api]\nport = 1\n'
    for bay in ("bay-1", "bay-2"):
        text += f'[[link]]\nname = "line-{bay}"\nkind = "serial"\nport = "{folder / bay}"\n'
    for bay in ("bay-1", "bay-2"):
        text += f'[[bay]]\nname = "{bay}"\nlink = "line-{bay}"\nrate_hz = 5.0\n'
        for channel, table in raw.tables(CHANNELS).items():
            text += f"[bay.channel.{channel}]\n"
            text += "".join(f"{key} = {_toml(value)}\n" for key, value in table.items())
    (folder / "rack.toml").write_text(text)
    call = [sys.executable, "-m", "daemon.cli.main", "probe", *words, "--rack", str(folder / "rack.toml")]
    return subprocess.run(call, capture_output=True, text=True, timeout=60, check=False)


def _toml(value: object) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(each) for each in value) + "]"
    return repr(value)


def test_probe_shows_what_is_sent_and_what_it_reads_and_keys_nothing(twins: Twins, tmp_path: Path) -> None:
    """A sound bay: each channel's raw and converted value, exit status 0, and no twin was keyed."""
    done = probe(tmp_path, "bay-1")
    assert done.returncode == 0, done.stdout + done.stderr
    rows = {line.split()[0]: line.split() for line in done.stdout.splitlines() if line.strip()}
    assert rows["heatsink"][2] == "/"
    assert 15 < float(rows["heatsink"][3]) < 30
    assert rows["drain-1"][2] == "V"
    assert rows["supply"][4] == "V"
    assert not twins.keyed("bay-1")


def test_probe_names_the_wire_that_is_off(twins: Twins, tmp_path: Path) -> None:
    """An open thermistor: the channel, what is wrong, what to look at; exit status 1."""
    done = probe(tmp_path)
    assert done.returncode == 1
    row = next(line for line in done.stdout.partition("bay-2")[2].splitlines() if line.startswith("heatsink"))
    assert "open" in row
    assert "wires" in row


def test_probe_of_a_line_that_is_held_says_so(twins: Twins, tmp_path: Path) -> None:
    """Another program has the port: the message tells that, and not that the node is dead."""
    import serial

    with serial.Serial(str(tmp_path / "bay-1"), exclusive=True):
        done = probe(tmp_path, "bay-1", "--wait", "1")
    assert done.returncode == 1
    assert "holds this port" in done.stdout
