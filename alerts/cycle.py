"""The key's cycle within a phase of the plan: how long keyed now, and how long on and off the last time."""

from math import inf, nan


class Cycle:
    """Times in seconds. ``on_s`` and ``off_s`` are those of the last whole cycle of this phase, 0 before one."""

    __slots__ = ("_edge_s", "_off_edge_s", "_phase_s", "_was_keyed", "keyed_s", "off_s", "on_s")

    def __init__(self) -> None:
        self.on_s = self.off_s = self.keyed_s = 0.0
        self._phase_s = -inf
        self._edge_s = self._off_edge_s = nan
        self._was_keyed = False

    def look(self, clock_s: float, is_keyed: bool, phase_since_s: float) -> None:
        """Take in one frame's key."""
        if phase_since_s != self._phase_s:
            self._phase_s = phase_since_s
            self.on_s = self.off_s = 0.0
            self._edge_s = self._off_edge_s = nan
            if is_keyed:
                self._edge_s = clock_s
        if is_keyed and not self._was_keyed:
            if self._off_edge_s == self._off_edge_s and self._edge_s == self._edge_s:
                self.on_s, self.off_s = self._off_edge_s - self._edge_s, clock_s - self._off_edge_s
            self._edge_s = clock_s
        elif self._was_keyed and not is_keyed:
            self._off_edge_s = clock_s
        self._was_keyed = is_keyed
        self.keyed_s = clock_s - self._edge_s if is_keyed and self._edge_s == self._edge_s else 0.0
