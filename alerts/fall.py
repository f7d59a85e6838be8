"""How a figure falls at one drive: within a long key-down, or from one short key-down to the next."""

from collections.abc import Callable
from math import log, log10
from typing import NamedTuple

from alerts.estimates import Block
from alerts.estimators.decline import Decline

#: a fall is followed within a key-down longer than this, s, by means over so long, s, else from key-down to key-down
_LONG_S, _MEAN_S = 150.0, 10.0
#: a line must have been seen for so long before it is continued, s
_SEEN_S = 75.0
#: a pause longer than this, s, is another soak for this purpose
_PAUSE_S = 900.0


class Falling(NamedTuple):
    """A figure that may fall: of a block its level, in any unit, and the least noise of a mean of it.

    ``per_k`` is what each kelvin of new heat may take from it, ``per_supply`` each unit of the supply's logarithm.
    One that ``recovers`` falls at rest, and as the heatsink cools, too: what has been seen before a rest tells nothing.
    """

    level: Callable[[Block], float]
    noise: float
    per_k: float
    per_supply: float
    recovers: bool = False


#: forward power, dB: a radio may well sag by 0.3 dB over 30 K (common practice, no source), and the power of a stage
#: that saturates goes with the supply's square
POWER_DB = Falling(lambda block: 10.0 * log10(block.forward_w), noise=0.01, per_k=0.015, per_supply=8.7)


class Mean:
    """The mean of what blocks say: level, heatsink, Cel, and the supply's logarithm."""

    __slots__ = ("_level", "_n", "clock_s", "seconds", "values")

    def __init__(self, level: Callable[[Block], float]) -> None:
        self._level = level
        self._n = 0
        self.clock_s = self.seconds = 0.0
        self.values = [0.0, 0.0, 0.0]

    def add(self, block: Block) -> None:
        """Take one block."""
        self._n += 1
        self.clock_s = block.clock_s
        self.seconds += block.seconds
        share = 1.0 / self._n
        for i, value in enumerate((self._level(block), block.heatsink_c, log(block.supply_v))):
            self.values[i] += (value - self.values[i]) * share


class Fall:
    """Feed it the blocks of one drive: it tells how far the figure is under what its own fall so far explains."""

    __slots__ = ("_before_s", "_between", "_keyed_s", "_last_s", "_of", "_part", "_whole", "_within")

    def __init__(self, of: Falling) -> None:
        self._of = of
        # a whole key-down is a mean of so many readings that one is enough
        self._within, self._between = (
            Decline(
                least_s=_SEEN_S,
                per_k=of.per_k,
                per_supply=of.per_supply,
                sd=of.noise,
                newest=newest,
                either_way=of.recovers,
            )
            for newest in (3, 1)
        )
        self._part, self._whole = Mean(of.level), Mean(of.level)
        self._before_s = self._keyed_s = self._last_s = 0.0

    def feed(self, block: Block) -> float | None:
        """Take one block: what it tells, 0 where nothing is wrong, None while nothing new is told."""
        told: float | None = None
        if block.clock_s - self._last_s > _PAUSE_S:
            self._between.restart()
        if block.keyed_s < self._keyed_s:
            # the key has been up in between: a short key-down is one point, a long one is a line of its own
            if self._keyed_s <= _LONG_S:
                told = self._between.feed(self._whole.clock_s, *self._whole.values)
            else:
                self._between.restart()
            if self._of.recovers:
                self._within.restart()
            else:
                self._within.rest()
            self._before_s += self._keyed_s
            self._part, self._whole = Mean(self._of.level), Mean(self._of.level)
        self._keyed_s, self._last_s = block.keyed_s, block.clock_s
        self._whole.add(block)
        self._part.add(block)
        if self._part.seconds >= _MEAN_S:
            within = self._within.feed(self._before_s + block.keyed_s, *self._part.values)
            if within is not None:
                told = min(within, told or 0.0)
            self._part = Mean(self._of.level)
        return told
