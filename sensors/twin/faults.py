"""Faults to inject: each a small object with an onset, a ramp, and what it changes in the unit."""

from abc import abstractmethod
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

DEVICES = 4


class Condition:
    """What is wrong with a unit at this instant; a sound unit has the values below. Faults add up in it."""

    __slots__ = (
        "bias_per_k",
        "bias_v",
        "case_factor",
        "detached",
        "driver_db",
        "emf_v",
        "gamma",
        "key_stuck",
        "opened",
        "sensors",
        "short_s",
        "sink_factor",
        "source_ohm",
        "threshold_v",
    )

    def __init__(self) -> None:
        self.threshold_v = [0.0] * DEVICES  # added to a device's threshold voltage
        self.case_factor = [1.0] * DEVICES  # times the resistance case-to-heatsink
        self.opened = [False] * DEVICES
        self.short_s = [0.0] * DEVICES  # conductance drain to source, siemens
        self.bias_v = 0.0  # added to the bias supply
        self.bias_per_k = 0.0  # added to how the bias follows the heatsink, V/K
        self.sink_factor = 1.0  # times the resistance heatsink-to-air
        self.driver_db = 0.0  # how far the driver's best falls below what full power needs
        self.gamma = 0.0  # added to the load's reflection coefficient
        self.emf_v = 0.0
        self.source_ohm = 0.0
        self.key_stuck = False
        self.detached = 0.0  # 0 well seated .. 1 hanging in the air
        self.sensors: dict[str, str] = {}  # channel -> open | short | stuck


class FaultBase(BaseModel):
    """When a fault begins and how slowly it comes.

    ``at_s`` seconds after the twin's start (or, with ``counts="key-down"``, of key-down time, so that a
    demo's fault waits for its soak) it begins, and it is whole ``ramp_s`` later, growing evenly.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    at_s: float = Field(default=0.0, ge=0.0, allow_inf_nan=False)
    ramp_s: float = Field(default=0.0, ge=0.0, allow_inf_nan=False)
    counts: Literal["start", "key-down"] = "start"

    def strength(self, start_s: float, key_down_s: float) -> float:
        """How much of the fault is there, 0 to 1."""
        since_s = (start_s if self.counts == "start" else key_down_s) - self.at_s
        if since_s < 0.0:
            return 0.0
        return min(since_s / self.ramp_s, 1.0) if self.ramp_s > 0.0 else 1.0

    @abstractmethod
    def work(self, on: Condition, strength: float) -> None:
        """Put this fault into the condition; called with 0 < strength <= 1."""


Device = Annotated[int, Field(ge=1, le=DEVICES, description="output device, counted from 1 as the channels are")]


class CurrentHog(FaultBase):
    """One device's threshold sinks, so at the same bias it takes more and more of the current."""

    kind: Literal["current-hog"]
    device: Device = 1
    threshold_v: float = Field(default=0.30, gt=0.0, le=2.0)

    def work(self, on: Condition, strength: float) -> None:
        on.threshold_v[self.device - 1] -= strength * self.threshold_v


class DryPad(FaultBase):
    """The thermal pad under one device fails: its case comes away, thermally, from the heatsink."""

    kind: Literal["dry-pad"]
    device: Device = 1
    times: float = Field(default=8.0, gt=1.0, le=100.0, description="times the sound resistance")

    def work(self, on: Condition, strength: float) -> None:
        on.case_factor[self.device - 1] *= 1.0 + strength * (self.times - 1.0)


class OpenDevice(FaultBase):
    """One device passes no current any more, from the onset on (a ramp has no meaning here)."""

    kind: Literal["open-device"]
    device: Device = 1

    def work(self, on: Condition, strength: float) -> None:
        on.opened[self.device - 1] = True


class ShortedDevice(FaultBase):
    """One device conducts drain to source whether keyed or not."""

    kind: Literal["shorted-device"]
    device: Device = 1
    ohm: float = Field(default=1.5, ge=0.1, le=1000.0)

    def work(self, on: Condition, strength: float) -> None:
        on.short_s[self.device - 1] += strength / self.ohm


class ThermalRunaway(FaultBase):
    """The bias follows the heatsink the wrong way round: the hotter, the more bias, and no steady state."""

    kind: Literal["thermal-runaway"]
    bias_per_k: float = Field(default=0.020, gt=0.0, le=0.2, description="V/K added to the bias' tempco")

    def work(self, on: Condition, strength: float) -> None:
        on.bias_per_k += strength * self.bias_per_k


class BiasCreep(FaultBase):
    """The bias supply drifts: the idle current of all devices with it."""

    kind: Literal["bias-creep"]
    bias_v: float = Field(default=0.10, ge=-1.0, le=1.0)

    def work(self, on: Condition, strength: float) -> None:
        on.bias_v += strength * self.bias_v


class FanStop(FaultBase):
    """The air stops moving: the heatsink's resistance to air rises."""

    kind: Literal["fan-stop"]
    times: float = Field(default=2.5, gt=1.0, le=20.0)

    def work(self, on: Condition, strength: float) -> None:
        on.sink_factor *= 1.0 + strength * (self.times - 1.0)


class FadingDriver(FaultBase):
    """The driver no longer reaches the drive that full power needs."""

    kind: Literal["fading-driver"]
    db: float = Field(default=3.0, gt=0.0, le=40.0, description="how far forward power falls, dB")

    def work(self, on: Condition, strength: float) -> None:
        on.driver_db += strength * self.db


class BadLoad(FaultBase):
    """The dummy load's match goes: its reflection coefficient grows (0.45 is SWR 2.6)."""

    kind: Literal["bad-load"]
    gamma: float = Field(default=0.45, gt=0.0, lt=1.0)

    def work(self, on: Condition, strength: float) -> None:
        on.gamma += strength * self.gamma


class SaggingSupply(FaultBase):
    """The supply gives way: less voltage at rest, and more of it lost under load."""

    kind: Literal["sagging-supply"]
    emf_v: float = Field(default=0.3, ge=0.0, le=10.0)
    source_ohm: float = Field(default=0.4, ge=0.0, le=5.0)

    def work(self, on: Condition, strength: float) -> None:
        on.emf_v -= strength * self.emf_v
        on.source_ohm += strength * self.source_ohm


class StuckKey(FaultBase):
    """The keying contact welds when it next closes: the radio stays keyed whatever the node says."""

    kind: Literal["stuck-key"]

    def work(self, on: Condition, strength: float) -> None:
        on.key_stuck = True


class DetachedSensor(FaultBase):
    """The heatsink's sensor comes off and reads mostly the air."""

    kind: Literal["detached-sensor"]

    def work(self, on: Condition, strength: float) -> None:
        on.detached = max(on.detached, strength)


Temperature = Annotated[str, Field(pattern=r"^(heatsink|case-[1-4]|load|ambient)$")]


class OpenSensor(FaultBase):
    """A thermistor's circuit is open, from the onset on."""

    kind: Literal["open-sensor"]
    channel: Temperature = "heatsink"

    def work(self, on: Condition, strength: float) -> None:
        on.sensors[self.channel] = "open"


class ShortedSensor(FaultBase):
    """A thermistor's circuit is shorted, from the onset on."""

    kind: Literal["shorted-sensor"]
    channel: Temperature = "heatsink"

    def work(self, on: Condition, strength: float) -> None:
        on.sensors[self.channel] = "short"


class StuckSensor(FaultBase):
    """A temperature keeps the value that it had at the onset, to the last digit."""

    kind: Literal["stuck-sensor"]
    channel: Temperature = "heatsink"

    def work(self, on: Condition, strength: float) -> None:
        on.sensors[self.channel] = "stuck"


Fault = Annotated[
    CurrentHog
    | DryPad
    | OpenDevice
    | ShortedDevice
    | ThermalRunaway
    | BiasCreep
    | FanStop
    | FadingDriver
    | BadLoad
    | SaggingSupply
    | StuckKey
    | DetachedSensor
    | OpenSensor
    | ShortedSensor
    | StuckSensor,
    Field(discriminator="kind"),
]
"""Any fault, as a spec writes it: ``kind`` says which."""
