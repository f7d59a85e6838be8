"""A daemon's safety loop and API in this process, on a real socket."""

import asyncio
import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

from daemon.api.server import ApiThread, build
from daemon.config import RackFile
from daemon.delivery.delivery import Delivery
from daemon.loop import Rack
from daemon.serve import make_rack
from daemon.store import Store
from daemon.store.reader import CATALOG

#: far beyond what it takes; the machine may be busy
WAIT_S = 20.0


@contextlib.contextmanager
def running(
    config: RackFile,
    *,
    keep: Callable[[Store], None] = lambda _: None,
    tells: bool = False,
    port: int = 0,
) -> Iterator[tuple[Rack, Store, str]]:
    """The rack of this configuration, its store, and the address of its API.

    ``keep`` puts something into the store first; ``tells``: whether its targets are told.
    """
    with contextlib.ExitStack() as ends:
        store = ends.enter_context(Store(config.rack.data, commit_s=0.02))
        keep(store)
        store.flush(WAIT_S)
        rack = make_rack(config, store)
        delivery = ends.enter_context(Delivery(config, config.rack.data / CATALOG)) if tells else None
        api = ApiThread(build(config, rack, store, delivery), socket.create_server(("127.0.0.1", port)))
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
        try:
            yield rack, store, f"http://127.0.0.1:{api.port}"
        finally:
            loops[0].call_soon_threadsafe(stop.set)
            thread.join(WAIT_S)
            api.stop()
        assert not thread.is_alive()


def serving(
    folder: Path, text: str, *, keep: Callable[[Store], None] = lambda _: None, tells: bool = False, port: int = 0
) -> contextlib.AbstractContextManager[tuple[Rack, Store, str]]:
    """The same of a rack.toml with this text in ``folder``; ``{port}`` is a port that is not there."""
    path = folder / "rack.toml"
    path.write_text(text.format(port=folder / "not-there"))
    return running(RackFile.from_file(path), keep=keep, tells=tells, port=port)
