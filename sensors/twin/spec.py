"""What a twin is told to be: one TOML file of units, each with its bay, its port, its seed and its faults."""

import tomllib
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from sensors.twin.errors import SpecRefused
from sensors.twin.faults import Fault
from sensors.types import Drive


class Strict(BaseModel):
    """A field that the spec does not know is an error that names it."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class PtyPort(Strict):
    """A pseudo-terminal; ``pty`` is the path of the symbolic link that the twin makes to it."""

    pty: Path


class Broker(Strict):
    """An MQTT broker and the node's place in the contract's topics."""

    host: str = "127.0.0.1"
    port: int = Field(ge=1, le=65535)
    rack: str = Field(pattern=r"^[^/+#\s]+$")
    node: str = Field(pattern=r"^[^/+#\s]+$")
    username: str | None = None
    password: str | None = None

    @property
    def topic(self) -> str:
        """The node's topics without their last part."""
        return f"keysoak/{self.rack}/{self.node}"


class MqttPort(Strict):
    """A node on a broker."""

    mqtt: Broker


Extra = Literal["case", "bias", "peak", "load", "ambient"]


class UnitSpec(Strict):
    """One radio on one dummy load with its node.

    ``thermal_scale`` multiplies every thermal mass, the sensors' own too, so that 0.15 shows in ten minutes
    what takes an hour. ``spread`` multiplies how far units of a batch differ; 0 makes every seed the
    nominal unit.
    """

    bay: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$", max_length=64)
    seed: int = 0
    rate_hz: float = Field(default=2.0, gt=0.0, le=50.0)
    devices: int = Field(default=2, ge=1, le=4)
    thermal_scale: float = Field(default=1.0, ge=0.01, le=100.0)
    spread: float = Field(default=1.0, ge=0.0, le=3.0)
    power_w: float = Field(default=25.0, ge=1.0, le=100.0)
    supply_v: float = Field(default=13.8, ge=10.0, le=60.0)
    ambient_c: float = Field(default=22.0, ge=-30.0, le=60.0)
    cutout_c: float = Field(default=95.0, ge=30.0, le=150.0)
    raw: bool = Field(default=False, description="send divider ratios and volts, not engineering units")
    tone: bool = Field(default=True, description="the node can gate a tone; if not, keyed means driven")
    on_tone: Literal[Drive.CARRIER, Drive.TWO_TONE, Drive.MODULATED] = Drive.CARRIER
    relay: bool = Field(default=True, description="the node can cut the supply, and says so")
    one_shunt: bool = Field(default=False, description="one total current only, as drain-1")
    extras: tuple[Extra, ...] = ()
    port: PtyPort | MqttPort | None = None
    fault: tuple[Fault, ...] = ()

    @model_validator(mode="after")
    def _faults_fit(self) -> Self:
        for fault in self.fault:
            device = getattr(fault, "device", 1)
            if device > self.devices:
                raise ValueError(f"fault {fault.kind} is on device {device}, but there are {self.devices}")
        return self


class RackSpec(Strict):
    """All units of one twin process; no two share a bay, a link or a node."""

    unit: Annotated[tuple[UnitSpec, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _nothing_shared(self) -> Self:
        seen: set[str] = set()
        for unit in self.unit:
            places = [f"bay {unit.bay}"]
            if isinstance(unit.port, PtyPort):
                places.append(f"pty {unit.port.pty}")
            elif isinstance(unit.port, MqttPort):
                places.append(f"node {unit.port.mqtt.host}:{unit.port.mqtt.port}/{unit.port.mqtt.topic}")
            for place in places:
                if place in seen:
                    raise ValueError(f"{place} is used by two units")
                seen.add(place)
        return self


def load(path: Path) -> RackSpec:
    """Read a spec; raises SpecRefused that names the file, the field and what is wrong with it."""
    try:
        return RackSpec.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except OSError as e:
        raise SpecRefused(str(path), e.strerror or str(e)) from e
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as e:
        raise SpecRefused(str(path), f"not TOML: {e}") from e
    except ValidationError as e:
        first = e.errors()[0]
        field = ".".join(str(part) for part in first["loc"]) or "spec"
        raise SpecRefused(str(path), f"{field}: {first['msg']}") from e
