"""What follows from what was done and can wait: on the safety loop, in order, a piece a turn.

One fault may trip all bays of a rack in one instant. Writing down what it means for one of them takes milliseconds, so
that the last of 64 would be unkeyed a quarter of a second late; here every key comes up first.
"""

import asyncio
from collections import deque
from collections.abc import Callable

Act = Callable[[], None]
"""It must neither block nor raise, as all that runs on that loop."""


class Afterwards:
    """Does what it is given at once, but between ``begin`` and ``finish``: then after what the loop has to do now."""

    def __init__(self) -> None:
        self._due: deque[Act] = deque()
        self._loop: asyncio.AbstractEventLoop | None = None

    def begin(self, loop: asyncio.AbstractEventLoop) -> None:
        """From now on by turns of this loop; on its thread alone."""
        self._loop = loop

    def finish(self) -> None:
        """All that waits, now."""
        self._loop = None
        while self._due:
            self._due.popleft()()

    @property
    def waiting(self) -> int:
        """How much is still to be done."""
        return len(self._due)

    def __call__(self, act: Act) -> None:
        """Have it done."""
        if self._loop is None:
            act()
            return
        self._due.append(act)
        if len(self._due) == 1:
            self._loop.call_soon(self._turn)

    def _turn(self) -> None:
        if self._loop is None or not self._due:
            return
        try:
            self._due[0]()
        finally:
            self._due.popleft()
            if self._due:
                # the loop looks for packs and writes keys before it comes back to this
                self._loop.call_soon(self._turn)
