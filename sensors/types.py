"""The vocabulary that every room shares: channels, the Frame, and what a link must be able to do."""

import math
from collections.abc import Callable, Iterator
from enum import IntEnum, StrEnum
from typing import Protocol

import msgspec

#: channel -> unit, in the order in which a Frame, a store row, an export and a page hold them (the contract).
UNITS: dict[str, str] = {
    "heatsink": "Cel",
    **{f"case-{i}": "Cel" for i in (1, 2, 3, 4)},
    **{f"drain-{i}": "A" for i in (1, 2, 3, 4)},
    **{f"bias-{i}": "V" for i in (1, 2, 3, 4)},
    "supply": "V",
    "forward": "W",
    "peak": "W",
    "reflected": "W",
    "load": "Cel",
    "ambient": "Cel",
    "key": "boolean",
    "cut": "boolean",
}
CHANNELS: tuple[str, ...] = tuple(UNITS)
INDEX: dict[str, int] = {name: i for i, name in enumerate(CHANNELS)}
BOOLEANS = frozenset(name for name, unit in UNITS.items() if unit == "boolean")

HEATSINK = 0
CASES = slice(1, 5)
DRAINS = slice(5, 9)
BIASES = slice(9, 13)
SUPPLY, FORWARD, PEAK, REFLECTED, LOAD, AMBIENT, KEY, CUT = range(13, 21)

NAN = math.nan

#: what a detector may read: its volts are kept beside the watts, so that a later table can value them anew
DETECTED = CHANNELS[FORWARD : REFLECTED + 1]
NO_VOLTS = (NAN,) * len(DETECTED)

Clock = Callable[[], float]
"""Monotonic seconds; injected, so that a replay runs in event time and a test needs no sleep."""


class Drive(StrEnum):
    """What a plan asks of the radio in a phase (the contract)."""

    OFF = "off"
    IDLE = "idle"
    CARRIER = "carrier"
    TWO_TONE = "two-tone"
    MODULATED = "modulated"


class Quality(IntEnum):
    """Why a channel of a Frame has a value, or has none. Every quality but GOOD goes with a nan value."""

    GOOD = 0
    MISSING = 1  # the pack had no record of this name
    OPEN = 2  # the sensor's circuit is open
    SHORT = 3  # the sensor's circuit is shorted
    OUTSIDE = 4  # above or beyond what the sensor or its calibration covers; never extrapolated
    BELOW = 5  # under the lowest point of a detector's table: as good as no power, but not measured
    REFUSED = 6  # a wrong unit, or a text where a number was wanted


class Frame(msgspec.Struct, gc=False):
    """All channels of one bay at one instant; made once, in the link, and passed on as it is.

    ``values`` and ``quality`` have one entry a channel, in the order of ``CHANNELS``; values are in the units
    of ``UNITS`` (booleans 0.0 or 1.0), ``nan`` where there is none. ``time_ns`` is the sample's UTC time in
    nanoseconds; ``clock_s`` the monotonic clock when it arrived (event time in a replay), on which all rules
    run. ``seq`` is the node's pack counter modulo 2**32, -1 where a node sends none.
    """

    bay: str
    time_ns: int
    clock_s: float
    seq: int
    values: tuple[float, ...]
    quality: bytes
    volts: tuple[float, ...] = NO_VOLTS

    def present(self) -> Iterator[tuple[str, float]]:
        """The channels that have a value, by name."""
        return ((n, v) for n, v in zip(CHANNELS, self.values, strict=True) if v == v)  # noqa: PLR0124  nan


class BayStats(msgspec.Struct):
    """What has come of one bay's packs; counts since the link was made."""

    packs: int = 0
    lost: int = 0  # gaps in seq
    restarts: int = 0  # steps back in seq
    repeats: int = 0  # the same seq again: dropped, as MQTT QoS 1 may deliver twice
    unknown: int = 0  # records with a name that the contract does not know
    refused: int = 0  # records with a wrong unit, or a text where a number was wanted
    last_s: float = -math.inf  # monotonic time of the last frame
    presence: str = "unknown"  # online | offline | unknown (MQTT)
    last_error: str = ""


class LinkStats(msgspec.Struct):
    """What has come over one link, whole; counts since the link was made."""

    connected: bool = False
    connects: int = 0
    crc_failures: int = 0  # lines whose CRC is wrong or missing
    refused: int = 0  # packs that broke a rule of RFC 8428 or of the contract
    strangers: int = 0  # packs of a bay that this link does not have
    last_error: str = ""
    bays: dict[str, BayStats] = {}


class Link(Protocol):
    """One way to the nodes. ``lend``, ``unkey`` and ``cut`` never block and never raise: they hand bytes on."""

    name: str
    stats: LinkStats

    async def run(self, deliver: Callable[[Frame], None]) -> None:
        """Connect, deliver frames on this event loop, reconnect with backoff; until cancelled."""

    def lend(self, bay: str, lease_s: float, tone: bool | None = None) -> None:
        """Lend the key of ``bay`` for ``lease_s`` seconds from now (a renewal is the same call)."""

    def unkey(self, bay: str) -> None:
        """Take the key back at once."""

    def cut(self, bay: str, opened: bool) -> None:
        """Open (or close again) the supply relay of a node that has one."""
