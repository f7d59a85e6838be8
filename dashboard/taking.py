"""What the routes of the paper-work share: a body of bounded length, read into a model, carried out on a thread."""

import asyncio
from collections.abc import Callable
from typing import TypeVar

from fastapi import Request
from fastapi.responses import Response
from pydantic import TypeAdapter, ValidationError

from daemon.api.errors import ApiError, DaemonSilent
from dashboard.orders import answer

M = TypeVar("M")

#: a sheet or a hundred points, and room
LARGEST = 1 << 16


async def take(request: Request, kind: TypeAdapter[M], act: Callable[[M], Response]) -> Response:
    """The answer of ``act`` to what was sent, or what was wrong with which field of it."""
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > LARGEST:
            return answer(request, 413, failed=f"this is longer than {LARGEST // 1024} KiB")
    try:
        asked = kind.validate_json(bytes(body))
    except ValidationError as err:
        wrong = [f"{'.'.join(map(str, e['loc'])) or 'form'}: {e['msg']}" for e in err.errors()]
        return answer(request, 422, failed="\n".join(wrong))
    return await ask(request, lambda: act(asked))


async def ask(request: Request, act: Callable[[], Response]) -> Response:
    """The answer of ``act``, which talks to the daemon, on a thread; its failure in words."""
    try:
        return await asyncio.to_thread(act)
    except DaemonSilent as err:
        return answer(request, 502, failed=err.why)
    except ApiError as err:
        return answer(request, err.status or 502, failed=err.why)
