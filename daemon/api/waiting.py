"""How the API waits for an order that it has handed to the safety loop."""

import asyncio
from concurrent.futures import Future
from typing import TypeVar

from fastapi import HTTPException

T = TypeVar("T")

#: an order is done in one turn of the safety loop; longer than this and something is badly wrong
ORDER_S = 2.0


async def wait(future: "Future[T]") -> T:
    """The answer to an order; 503 when the loop does not answer."""
    try:
        return await asyncio.wait_for(asyncio.wrap_future(future), ORDER_S)
    except TimeoutError:
        raise HTTPException(503, "the safety loop does not answer: pull the key lines by hand") from None
