"""What a bay acts through and speaks to: a rack's links and store, a twin in its own time, nothing in a replay."""

from typing import Protocol

from alerts.types import Finding
from daemon.soak import Begun, Ended, Waited


class Keys(Protocol):
    """How a bay's key is lent and taken back. Nothing here may block."""

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """Lend the key, or renew the loan."""

    def unkey(self, bay: str) -> None:
        """Take the key back at once."""


class Notes(Protocol):
    """Where a bay says what happens on it. Nothing here may block."""

    def begin(self, begun: Begun) -> None:
        """A soak has begun."""

    def say(self, job: int, at_s: float, finding: Finding) -> None:
        """A rule has spoken, ``at_s`` after the start of the bay's last job; job 0 when there was none."""

    def wait(self, waited: Waited) -> None:
        """A plan stands still, or goes on."""

    def end(self, ended: Ended) -> None:
        """A soak is over."""
