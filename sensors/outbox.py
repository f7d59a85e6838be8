"""What a link still has to tell its nodes: an unkey overtakes every loan, and no loan is told late as if new."""

from collections.abc import Callable

import msgspec

from sensors.lease import key_pack
from sensors.types import Clock

#: a loan that waited longer than this is told with what is left of it
_PROMPT_S = 0.1


class Order(msgspec.Struct, gc=False):
    """One thing to tell one bay's node, asked for at ``asked_s`` on the monotonic clock."""

    bay: str
    on: bool
    asked_s: float
    lease_s: float = 0.0
    tone: bool | None = None
    cut: bool | None = None

    def pack(self, clock_s: float) -> bytes:
        """The key pack; a loan ends when it was to end, however long it waited here."""
        waited_s = clock_s - self.asked_s
        left_s = self.lease_s if waited_s < _PROMPT_S else round(self.lease_s - waited_s, 3)
        return key_pack(self.bay, left_s, self.on, self.tone, self.cut)


class Outbox:
    """Orders of all bays of one link, at most one loan and one unkey a bay, so that its size is bounded.

    Filled on the event loop's thread and emptied by the link, on whatever thread: single operations on dicts, no
    lock, so that neither ever waits for the other. ``wake`` is called after each order.
    """

    def __init__(self, clock: Clock) -> None:
        self.wake: Callable[[], None] = nobody
        self._clock = clock
        self._urgent: dict[str, Order] = {}
        self._loans: dict[str, Order] = {}

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """A loan from now on; it replaces one that is still waiting."""
        self._loans[bay] = Order(bay, True, self._clock(), lease_s, tone)
        self.wake()

    def unkey(self, bay: str, cut: bool | None = None) -> None:
        """Take the key back, and with ``cut`` open or close the supply relay; loans that wait are forgotten."""
        self._loans.pop(bay, None)
        self.put_back(Order(bay, False, self._clock(), cut=cut))
        self.wake()

    def put_back(self, order: Order) -> None:
        """Keep an unkey that could not be told; a loan is not kept, as another comes within a second."""
        if order.on:
            return
        waiting = self._urgent.get(order.bay)
        if waiting is not None and (order.cut is None or waiting.asked_s > order.asked_s):
            newer = waiting.cut
            order.cut = order.cut if newer is None else newer
        self._urgent[order.bay] = order

    def __bool__(self) -> bool:
        """Whether an order waits."""
        return bool(self._urgent or self._loans)

    def next(self) -> Order | None:
        """The next order, unkeys first; None when there is none. Loans that have ended meanwhile are dropped."""
        if self._urgent:
            return self._urgent.popitem()[1]
        while self._loans:
            order = self._loans.popitem()[1]
            if self._clock() - order.asked_s < order.lease_s:
                return order
        return None


def nobody() -> None:
    """Nothing is connected that could be woken."""
