"""The rack as it stands now, asked of the daemon once for all tabs of all browsers."""

import asyncio
import json
import time
from collections.abc import Callable

from daemon.api.errors import ApiError
from daemon.api.models import RackView

Clock = Callable[[], float]

#: details that only a bay's own page shows; eight bays of them twice a second would be most of the traffic
DETAILS = frozenset({"readings", "rules", "link"})


class Watch:
    """Keeps the daemon's last answer, its age, and why there is no newer one.

    ``now`` asks again when the last question is older than ``keep_s`` seconds, and waits no longer than ``wait_s``
    for the answer: a daemon that hangs makes an answer that is old and says so, never a page that hangs as well.
    """

    def __init__(
        self,
        ask: Callable[[], RackView],
        keep_s: float = 0.25,
        wait_s: float = 1.0,
        clock: Clock = time.monotonic,
    ) -> None:
        self._ask, self._keep_s, self._wait_s, self._clock = ask, keep_s, wait_s, clock
        self._task: asyncio.Task[None] | None = None
        self._asked_s = 0.0
        self._rack: RackView | None = None
        self._rack_json = "null"
        self._answered_s = clock()
        self.error = ""

    @property
    def rack(self) -> RackView | None:
        """What the daemon said last; None when it never did."""
        return self._rack

    async def now(self, bay: str | None = None) -> str:
        """The JSON of ``{age_s, error, rack, bay}``; ``bay`` is the named bay with all its details, or null."""
        await self._refresh()
        found = next((b for b in self._rack.bays if b.bay == bay), None) if self._rack and bay else None
        return (
            f'{{"age_s":{self._clock() - self._answered_s:.3f},"error":{json.dumps(self.error)},'
            f'"rack":{self._rack_json},"bay":{found.model_dump_json() if found else "null"}}}'
        )

    async def _refresh(self) -> None:
        task = self._task
        if task is None or (task.done() and self._clock() - self._asked_s >= self._keep_s):
            self._asked_s = self._clock()
            task = self._task = asyncio.create_task(self._fetch(), name="ask the daemon")
        await asyncio.wait({task}, timeout=self._wait_s)

    async def _fetch(self) -> None:
        asked_s = self._clock()
        try:
            rack = await asyncio.to_thread(self._ask)
        except ApiError as err:
            self.error = err.why
            return
        self._rack, self._answered_s, self.error = rack, asked_s, ""
        self._rack_json = rack.model_dump_json(exclude={"bays": {"__all__": set(DETAILS)}})
