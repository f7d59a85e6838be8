"""How forward power falls at one drive: within a long key-down, or from one short key-down to the next."""

from math import log, log10

from alerts.estimates import Block
from alerts.estimators.decline import Decline

#: a fall is followed within a key-down longer than this, s, by means over so long, s, else from key-down to key-down
_LONG_S, _MEAN_S = 150.0, 10.0
#: a line must have been seen for so long before it is continued, s; and the least noise of a mean, dB
_SEEN_S, _NOISE_DB = 75.0, 0.01
#: a pause longer than this, s, is another soak for this purpose
_PAUSE_S = 900.0
#: what each kelvin of new heat, and each unit of ln V, may take from the power, dB (a radio may well sag by 0.3 dB over
#: 30 K; common practice, no source), and the power of a stage that saturates goes with the supply's square
_PER_K_DB, _PER_SUPPLY_DB = 0.015, 8.7


class Mean:
    """The mean of what blocks say: level, dB, heatsink, Cel, and the supply's logarithm."""

    __slots__ = ("_n", "clock_s", "seconds", "values")

    def __init__(self) -> None:
        self._n = 0
        self.clock_s = self.seconds = 0.0
        self.values = [0.0, 0.0, 0.0]

    def add(self, block: Block) -> None:
        """Take one block."""
        self._n += 1
        self.clock_s = block.clock_s
        self.seconds += block.seconds
        share = 1.0 / self._n
        for i, value in enumerate((10.0 * log10(block.forward_w), block.heatsink_c, log(block.supply_v))):
            self.values[i] += (value - self.values[i]) * share


class Fall:
    """Feed it the blocks of one drive: it tells how far the power is under what its own fall so far explains, dB."""

    __slots__ = ("_before_s", "_between", "_keyed_s", "_last_s", "_part", "_whole", "_within")

    def __init__(self) -> None:
        self._within, self._between = [
            Decline(least_s=_SEEN_S, per_k=_PER_K_DB, per_supply=_PER_SUPPLY_DB, sd=_NOISE_DB) for _ in range(2)
        ]
        self._part, self._whole = Mean(), Mean()
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
            self._within.rest()
            self._before_s += self._keyed_s
            self._part, self._whole = Mean(), Mean()
        self._keyed_s, self._last_s = block.keyed_s, block.clock_s
        self._whole.add(block)
        self._part.add(block)
        if self._part.seconds >= _MEAN_S:
            told = min(self._within.feed(self._before_s + block.keyed_s, *self._part.values), told or 0.0)
            self._part = Mean()
        return told
