"""One question to the daemon for all tabs that stand open, however many there are."""

import asyncio
import time
from collections.abc import Callable

Clock = Callable[[], float]


class Kept:
    """Keeps an answer for ``keep_s`` seconds. Whoever asks meanwhile gets it; whoever asks while it is being fetched
    waits for the same fetch. ``ask`` runs on a thread, and its ApiError is everybody's who waited."""

    def __init__(self, ask: Callable[[], str], keep_s: float = 1.0, clock: Clock = time.monotonic) -> None:
        self._ask, self._keep_s, self._clock = ask, keep_s, clock
        self._task: asyncio.Task[str] | None = None
        self._asked_s = 0.0

    async def now(self) -> str:
        """The answer; raises ApiError."""
        task = self._task
        if task is None or (task.done() and self._clock() - self._asked_s >= self._keep_s):
            self._asked_s = self._clock()
            task = self._task = asyncio.create_task(asyncio.to_thread(self._ask), name="ask the daemon")
        # one tab that is closed must not take the answer from the others
        return await asyncio.shield(task)

    def stale(self) -> None:
        """Something was done that changes the answer: ask anew."""
        self._asked_s = float("-inf")
