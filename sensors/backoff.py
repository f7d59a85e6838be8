"""How long to wait before trying a lost link again."""

import random

FIRST_S = 0.05
#: a third of the default lease: a bay whose link blinks keeps its soak
LONGEST_S = 1.0


class Backoff:
    """Doubling waits up to a second, each cut by up to half at random: links that fell together return one by one."""

    def __init__(self, first_s: float = FIRST_S, longest_s: float = LONGEST_S) -> None:
        self._first_s, self._longest_s = first_s, longest_s
        self._next_s = first_s
        # its own: a link's thread must not move the sequence of a program that has seeded the shared one
        self._random = random.Random()

    def reset(self) -> None:
        """The link stood: begin again with a short wait."""
        self._next_s = self._first_s

    def wait_s(self) -> float:
        """The next wait in seconds."""
        wait_s = self._next_s * self._random.uniform(0.5, 1.0)
        self._next_s = min(self._next_s * 2, self._longest_s)
        return wait_s
