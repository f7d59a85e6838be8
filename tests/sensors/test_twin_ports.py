"""The twin's ports and its real-time unit, inside this process: overruns, and what real time costs."""

import asyncio
import contextlib
import os
import time
from pathlib import Path

from sensors.framing import LineSplitter, open_line
from sensors.lease import key_pack
from sensors.senml import decode, encode
from sensors.twin.ports import SerialPort
from sensors.twin.process import Unit
from sensors.twin.spec import UnitSpec


def test_a_line_that_nobody_reads_loses_the_oldest(tmp_path: Path) -> None:
    """Whoever opens the port late gets whole recent packs, and the node was never held up."""

    async def scenario() -> list[bytes]:
        port = SerialPort(tmp_path / "line", lambda pack: None, lambda event, what: None)
        port.plug()
        for seq in range(2000):
            port.send(encode("bay-1", 1.764e9 + seq, [("heatsink", "Cel", 20.0)], seq=seq))
        assert port.overruns > 0
        reader = os.open(tmp_path / "line", os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        got = LineSplitter()
        lines: list[bytes] = []
        for seq in range(2000, 2100):
            port.send(encode("bay-1", 1.764e9 + seq, [("heatsink", "Cel", 20.0)], seq=seq))
            with contextlib.suppress(BlockingIOError):
                lines += got.feed(os.read(reader, 65536))
        os.close(reader)
        port.unplug()
        return lines

    lines = asyncio.run(scenario())
    # What was being written when the queue was dropped is cut; all after it is whole.
    seqs = [decode(open_line(line))[-1].v for line in lines[-90:]]
    assert seqs == list(range(2010, 2100))


def test_real_time_follows_its_own_time_at_a_small_cost() -> None:
    """Of a second in which eight units at 2 Hz sample, look and hear, the twin's work takes well under 50 ms."""
    said: list[dict[str, object]] = []
    port = {"mqtt": {"port": 1, "rack": "r", "node": "n"}}
    units = [Unit(UnitSpec.model_validate({"bay": f"bay-{i}", "seed": i, "port": port}), said.append) for i in range(8)]
    start_s = max(u.node.clock_s for u in units)
    for u in units:
        u.node.hear(key_pack(u.spec.bay, 30.0, True, tone=True), start_s)
    began_s = time.process_time()
    for look in range(1, 501):  # ten seconds of 50 looks a second
        for u in units:
            u.node.advance(start_s + look * 0.02)
            if look % 25 == 0:
                u.port.send(u.node.pack(1.764e9 + look * 0.02))
    assert (time.process_time() - began_s) / 10.0 < 0.05
