"""The twin without waiting: a closed loop in event time, so that a plan of two hours runs in seconds."""

from sensors.twin.node import Node
from sensors.twin.spec import UnitSpec


class InstantBay:
    """One unit in its own time, which starts at 0 s and at ``start_ns`` UTC."""

    def __init__(self, spec: UnitSpec, start_ns: int) -> None:
        self.node = Node(spec, 0.0)
        self._start_s = start_ns / 1e9

    @property
    def clock_s(self) -> float:
        """Seconds since the start."""
        return self.node.clock_s

    def advance(self, dt_s: float) -> bytes:
        """Move on by ``dt_s`` seconds and give the pack of that instant."""
        clock_s = self.node.clock_s + dt_s
        self.node.advance(clock_s)
        # A millisecond is what the contract's example shows; a sum of floats need not be written out in full.
        return self.node.pack(round(self._start_s + clock_s, 3))

    def hear(self, key_pack: bytes) -> None:
        """Hand the node a key pack now; raises PackRefused for one that breaks the contract."""
        self.node.hear(key_pack, self.node.clock_s)
