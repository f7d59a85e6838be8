"""``python -m sensors.twin SPEC.toml``: a rack of twins in real time, over real ports.

Standard output is one JSON object a line: ``ready`` (bay, port), ``key`` (bay, on, clock_s of time.monotonic, why:
told | lease ended | cutout | restart), ``refused`` (why: a line, a pack or a command) and ``lost`` (why: the broker).
Standard input takes ``{"do": ..., "bay": ...}`` with do = unplug | plug | restart | fault (with "fault": {...}, whose
onset counts from now) | say (with "bytes": a text of Latin-1 characters, one a byte) | silence (with "on"). Its end,
SIGTERM or SIGINT ends the twin. Whoever starts it reads its output, or sends that to a file.
"""

import asyncio
import contextlib
import json
import os
import signal
import sys
import threading
from pathlib import Path

from sensors.twin.errors import TwinError
from sensors.twin.process import Process
from sensors.twin.spec import load


def _say(event: dict[str, object]) -> None:
    # Nobody reads any more: the end of standard input is about to tell us so.
    with contextlib.suppress(BrokenPipeError):
        sys.stdout.write(json.dumps(event) + "\n")
        sys.stdout.flush()


def _read_commands(process: Process, loop: asyncio.AbstractEventLoop, end: asyncio.Event) -> None:
    """On a thread of its own: standard input may be a pipe, a file or a terminal, and asyncio takes pipes only."""
    rest = b""
    with contextlib.suppress(RuntimeError):  # the loop has closed meanwhile
        while chunk := os.read(0, 65536):
            *lines, rest = (rest + chunk).split(b"\n")
            for line in filter(bytes.strip, lines):
                loop.call_soon_threadsafe(process.command, line)
        loop.call_soon_threadsafe(end.set)


async def _serve(spec_path: Path) -> None:
    process = Process(load(spec_path), _say)
    end = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, end.set)
    # A plain read on the descriptor: a daemon thread inside a buffered read would break the interpreter's
    # exit.
    threading.Thread(target=_read_commands, args=(process, loop, end), daemon=True).start()
    serving = asyncio.create_task(process.run(), name="twin")
    ended = asyncio.create_task(end.wait(), name="end")
    await asyncio.wait({serving, ended}, return_when=asyncio.FIRST_COMPLETED)
    ended.cancel()
    serving.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await serving


def main() -> int:
    """Run until told to end; 2 for a spec that can't be used."""
    if len(sys.argv) != 2:
        sys.stderr.write("usage: python -m sensors.twin SPEC.toml\n")
        return 2
    try:
        asyncio.run(_serve(Path(sys.argv[1])))
    except TwinError as e:
        sys.stderr.write(f"{e}\n")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
