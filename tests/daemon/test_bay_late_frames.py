"""Frames are stamped where they are read, and the loop's own time may have gone on when one of them is delivered."""

from alerts.types import Finding
from daemon.api.models import BayStatus
from daemon.bay import Bay
from daemon.plan import Plan
from daemon.soak import Begun, Ended, Waited
from sensors.types import CHANNELS, NAN, Frame, Quality

PLAN = Plan.from_toml('[[phase]]\ndrive = "carrier"\nminutes = 2\non_s = 10\noff_s = 10\n')
VALUES = {"heatsink": 30.0, "drain-1": 1.9, "drain-2": 1.9, "supply": 13.7, "forward": 25.0, "key": 1.0}


class Hand:
    """Keys and notes: only what is done to the key."""

    def __init__(self) -> None:
        self.words: list[str] = []

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """Lent."""
        self.words.append("lend")

    def unkey(self, bay: str) -> None:
        """Taken back."""
        self.words.append("unkey")

    def begin(self, begun: Begun) -> None:
        """Begun."""

    def say(self, job: int, at_s: float, finding: Finding) -> None:
        """Said."""

    def wait(self, waited: Waited) -> None:
        """The plan stands still, or goes on."""

    def end(self, ended: Ended) -> None:
        """Ended."""


def frame(at_s: float, keyed: bool) -> Frame:
    """A frame of a radio that is keyed or at rest."""
    given = VALUES if keyed else VALUES | {"drain-1": 0.0, "drain-2": 0.0, "forward": 0.0, "key": 0.0}
    quality = bytes(Quality.GOOD if name in given else Quality.MISSING for name in CHANNELS)
    return Frame("bay-1", int(at_s * 1e9), at_s, -1, tuple(given.get(name, NAN) for name in CHANNELS), quality)


def test_a_frame_from_just_before_the_start_or_a_key_edge_does_not_move_the_key_back() -> None:
    """The plan's time never runs backwards: one loan at the start, one unkey at the edge, no flutter between."""
    hand = Hand()
    bay = Bay("bay-1", hand, hand, sample_s=0.1)
    bay.take(frame(99.9, keyed=False))
    bay.start(PLAN, 100.0, 0)
    bay.take(frame(99.99, keyed=False))
    assert hand.words == ["lend"]
    assert bay.status is BayStatus.KEYED
    for i in range(1, 100):
        bay.take(frame(100.0 + i / 10, keyed=True))
    hand.words.clear()
    bay.tick(110.01, 0)
    bay.take(frame(109.99, keyed=True))
    assert hand.words == ["unkey"]
    assert str(bay.status) == "resting"
