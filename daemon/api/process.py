"""``python -m daemon.api.process``: one of the API's processes, on a socket that its parent, the daemon, listens on.

Its standard input is a pipe of which the daemon holds the other end: when that closes the process ends at once, so
that a dead daemon is seen to be dead.
"""

import asyncio
import os
import socket
import sys
from collections.abc import Callable
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp

from daemon.api.doors import KEPT_ALIVE_S


def main(words: list[str]) -> None:
    """``front FD DAEMON-URL HISTORY-URL`` or ``history FD DATA HOST WORKSHOP-JSON``."""
    what, handle, *rest = words
    asyncio.run(_run(lambda: _app(what, *rest), socket.socket(fileno=int(handle))))


def _app(what: str, first: str, second: str, workshop: str = "{}") -> ASGIApp:
    # imported here: neither needs what the other one takes most of a second to load
    if what == "front":
        from daemon.api.front import Front  # noqa: PLC0415

        return Front(first, second)
    from daemon.api.certificates import LOAD_ANYWAY_S, load_after  # noqa: PLC0415
    from daemon.api.history import build_history  # noqa: PLC0415
    from daemon.config import WorkshopTable  # noqa: PLC0415

    load_after(LOAD_ANYWAY_S)
    return build_history(Path(first), second, WorkshopTable.model_validate_json(workshop))


async def _run(make: Callable[[], ASGIApp], listener: socket.socket) -> None:
    loop = asyncio.get_running_loop()
    pipe = sys.stdin.fileno()
    # lifespan off: the front has none. The signals of a terminal are for the daemon: it closes the pipe
    config = uvicorn.Config(
        make(), log_level="warning", access_log=False, lifespan="off", timeout_keep_alive=KEPT_ALIVE_S
    )
    server = uvicorn.Server(config)

    def end() -> None:
        if not os.read(pipe, 64):
            os._exit(0)  # nothing here needs to be put in order, and nobody is left to wait for it

    loop.add_reader(pipe, end)
    print("ready", flush=True)  # noqa: T201  its parent waits for this word
    await server.serve(sockets=[listener])


if __name__ == "__main__":
    main(sys.argv[1:])
