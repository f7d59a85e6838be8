"""What the worlds of the detection bench have in common: their state, and what may be wrong with them."""

from dataclasses import dataclass, field
from typing import Protocol

from sensors.types import Drive


@dataclass(slots=True)
class State:
    """What a world is like at one instant, before any sensor."""

    sink_c: float
    ambient_c: float
    load_c: float
    case_c: list[float]
    junction_c: list[float]
    drain_a: list[float]
    bias_v: list[float]
    supply_v: float
    forward_w: float
    peak_w: float
    reflected_w: float


@dataclass(slots=True)
class Wrong:
    """What is wrong with a unit at one instant, in terms that all worlds understand; strengths 0 .. 1 and beyond."""

    creep_a: list[float] = field(default_factory=lambda: [0.0] * 4)  # added idle current of each device
    runaway: float = 0.0  # loop gain that the bias adds
    pad: list[float] = field(default_factory=lambda: [1.0] * 4)  # times case-to-heatsink resistance
    sink: float = 1.0  # times heatsink-to-air resistance
    fade_db: float = 0.0
    gamma: float = 0.0
    emf_v: float = 0.0
    source_ohm: float = 0.0
    opened: int = -1
    shorted: int = -1
    short_ohm: float = 1.5
    stuck_key: bool = False


class World(Protocol):
    """One unit; ``step`` moves it on and gives its state."""

    devices: int

    def start(self, sink_c: float, air_c: float) -> None:
        """Begin at these temperatures."""

    def step(self, dt_s: float, key: bool, drive: Drive, air_c: float, wrong: Wrong) -> State:
        """Move on."""
