"""Channels that were there and went away: a sensor that died in the middle of a soak, or came late.

A channel that never was there is another matter (the contract makes most of them optional, and each rule says so).
"""

from sensors.types import BOOLEANS, CHANNELS, DRAINS, Quality

#: an optional channel may be sent seldom; one that stays away for longer than this is dead (common practice, no source)
DEAD_S = 60.0
#: below a detector's table is as good as no power: it is there
_THERE = (Quality.GOOD, Quality.BELOW)


class Presence:
    """How long each channel was away, s; constant memory, and time only where something changes."""

    __slots__ = ("_away_s", "_from_s", "_longest_s", "_quality", "_seen")

    def __init__(self) -> None:
        n = len(CHANNELS)
        self._quality = b""
        self._seen = [False] * n
        self._from_s: list[float | None] = [None] * n  # since when it is away
        self._away_s = [0.0] * n
        self._longest_s = [0.0] * n

    def look(self, quality: bytes, clock_s: float) -> None:
        """Take one frame's qualities."""
        if quality == self._quality:
            return
        self._quality = quality
        for i, q in enumerate(quality):
            since_s = self._from_s[i]
            if q in _THERE:
                self._seen[i] = True
                if since_s is not None:
                    self._away_s[i] += clock_s - since_s
                    self._longest_s[i] = max(self._longest_s[i], clock_s - since_s)
                    self._from_s[i] = None
            elif since_s is None:
                self._from_s[i] = clock_s

    def lost(self, end_s: float, more_than_s: float) -> list[tuple[str, float]]:
        """The channels that were there once and away for longer than ``more_than_s`` in all, with that time.

        Of other channels than drain currents only those that were away for ``DEAD_S`` on end.
        """
        found = []
        for i, name in enumerate(CHANNELS):
            if not self._seen[i] or name in BOOLEANS:
                continue
            since_s = self._from_s[i]
            open_s = 0.0 if since_s is None else end_s - since_s
            away_s, longest_s = self._away_s[i] + open_s, max(self._longest_s[i], open_s)
            if away_s > more_than_s and (DRAINS.start <= i < DRAINS.stop or longest_s > DEAD_S):
                found.append((name, away_s))
        return found
