"""A daemon's safety loop and API in this process, on a real socket; nothing is heard of its bays."""

import asyncio
import contextlib
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

from daemon.api.server import ApiThread, build
from daemon.config import RackFile
from daemon.loop import Rack
from daemon.serve import make_rack
from daemon.store import Store

WAIT_S = 10.0


@contextlib.contextmanager
def serving(folder: Path, text: str) -> Iterator[tuple[Rack, Store, str]]:
    """The rack of a rack.toml with this text (``{port}``: a port that is not there), its store, and its address."""
    path = folder / "rack.toml"
    path.write_text(text.format(port=folder / "not-there"))
    config = RackFile.from_file(path)
    with Store(config.rack.data) as store:
        rack = make_rack(config, store)
        api = ApiThread(build(config, rack, store), socket.create_server(("127.0.0.1", 0)))
        began, stop = threading.Event(), asyncio.Event()
        loops: list[asyncio.AbstractEventLoop] = []

        async def run() -> None:
            loops.append(asyncio.get_running_loop())
            loops[0].call_soon(began.set)
            await rack.run(stop)

        thread = threading.Thread(target=asyncio.run, args=(run(),))
        thread.start()
        api.start()
        assert began.wait(WAIT_S)
        yield rack, store, f"http://127.0.0.1:{api.port}"
        loops[0].call_soon_threadsafe(stop.set)
        thread.join(WAIT_S)
        api.stop()
        assert not thread.is_alive()
