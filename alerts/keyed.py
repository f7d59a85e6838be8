"""Whether the radio is keyed and driven, as its frames show; the plan's word is not asked."""

from enum import IntEnum

from alerts.limits import Limits
from sensors.types import DRAINS, FORWARD, KEY, NAN, Frame, Quality

_BELOW = Quality.BELOW


class State(IntEnum):
    """What the radio does."""

    UNKNOWN = 0
    RESTING = 1
    KEYED = 2  # driven or not: no forward power is measured
    IDLE = 3  # keyed, no drive
    DRIVEN = 4


def forward_w(frame: Frame) -> float:
    """Forward power; what lies under the detector's table is as good as none."""
    return 0.0 if frame.quality[FORWARD] == _BELOW else frame.values[FORWARD]


class Drains:
    """The drain currents of one radio: which of the channels it has, and what they add up to."""

    __slots__ = ("_quality", "known")

    def __init__(self) -> None:
        self.known: tuple[int, ...] = ()  # indices into a frame's values, of channels ever seen, working or not
        self._quality = b""

    def look(self, frame: Frame) -> tuple[float, ...]:
        """The currents of the devices that this radio has, A; nan where a reading fails."""
        quality = frame.quality
        if quality != self._quality:
            self._quality = quality
            seen = {i for i in range(DRAINS.start, DRAINS.stop) if quality[i] != Quality.MISSING}
            self.known = tuple(sorted(seen.union(self.known)))
        values = frame.values
        return tuple([values[i] for i in self.known])


def rest_a(devices: int, limits: Limits) -> float:
    """The total drain current, A, that still counts as none.

    A lone drain-1 may be the radio's whole current (the contract), receiver and all: it is given more.
    """
    return limits.rest_total_a if devices == 1 else limits.rest_device_a * devices


class Keyed:
    """Follows one radio through its key-downs: by the node's own word, where it gives none by current and power."""

    __slots__ = ("_drains", "_has_word", "_limits", "key_since_s", "keyed", "since_s", "state")

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._drains = Drains()
        self._has_word = False
        self.state = State.UNKNOWN
        self.since_s = NAN  # of the state
        self.keyed = False
        self.key_since_s = NAN  # of being keyed or not; a frame that does not tell changes nothing

    def look(self, frame: Frame) -> State:
        """What the radio does at this frame."""
        forward = forward_w(frame)
        keyed = self._keyed(frame, forward)
        if keyed is None:
            state = State.UNKNOWN
        else:
            if keyed is not self.keyed or self.key_since_s != self.key_since_s:
                self.keyed, self.key_since_s = keyed, frame.clock_s
            if not keyed:
                state = State.RESTING
            elif forward >= self._limits.drive_floor_w:
                state = State.DRIVEN
            else:
                state = State.IDLE if forward == forward else State.KEYED  # noqa: PLR0124  nan
        if state is not self.state or self.since_s != self.since_s:
            self.state, self.since_s = state, frame.clock_s
        return state

    @property
    def has_word(self) -> bool:
        """Whether the node has ever said whether the radio is keyed."""
        return self._has_word

    def steady(self, clock_s: float) -> bool:
        """Whether the state has lasted: readings straddle its edges, and amplifier and detector settle."""
        return clock_s - self.since_s >= self._limits.settle_s and clock_s > self.since_s

    def _keyed(self, frame: Frame, forward: float) -> bool | None:
        word = frame.values[KEY]
        if word == word:  # noqa: PLR0124  nan
            self._has_word = True
            return word > 0.5
        if self._has_word:
            return None
        currents = self._drains.look(frame)
        good = [a for a in currents if a == a]  # noqa: PLR0124  nan
        if forward > self._limits.rest_forward_w or sum(good) > rest_a(len(currents), self._limits):
            return True
        return False if good or forward == forward else None  # noqa: PLR0124  nan
