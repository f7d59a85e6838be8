"""``rack.toml``: the rack's bays in the order in which they stand, and the links that reach their nodes."""

from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from daemon.files import parse, read_text
from sensors.errors import ConversionUnfit
from sensors.types import CHANNELS
from sensors.wiring import Conversion, must_fit

#: one level of an MQTT topic and one part of a SenML name, both without surprises (RFC 8428 section 4.5.1)
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,62}$")]


class Table(BaseModel):
    """A table of rack.toml: a field that is not known is an error, not a silent miss."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class RackTable(Table):
    """What the rack is called, where its readings are kept, and what a person should know of it."""

    name: Name = "rack-1"
    data: Path = Path("keysoak-data")  # from the folder of rack.toml
    note: str = Field(default="", max_length=300)


class ApiTable(Table):
    """Where the control API listens. Only this machine can reach the default."""

    host: str = "127.0.0.1"
    port: int = Field(default=8051, ge=0, le=65535)


class SerialTable(Table):
    """A serial port with one or more bays on its line."""

    name: Name
    kind: Literal["serial"]
    port: str = Field(min_length=1)
    baud: int = Field(default=115_200, ge=1200, le=4_000_000)
    crc: Literal["on", "off"] = "on"


class MqttTable(Table):
    """A broker that one or more nodes use."""

    name: Name
    kind: Literal["mqtt"]
    host: str = "127.0.0.1"
    port: int = Field(default=1883, ge=1, le=65535)
    username: str | None = None
    password_file: Path | None = None  # never the password itself: rack.toml gets copied and shown around


class BayTable(Table):
    """One radio on one dummy load."""

    name: Name
    link: Name
    node: Name | None = None
    rate_hz: float = Field(default=2.0, gt=0, le=100, allow_inf_nan=False)
    lease_s: float = Field(default=3.0, ge=0.5, le=30, allow_inf_nan=False)
    tone: bool = False  # the node can gate a tone generator
    channel: dict[str, Conversion] = Field(default_factory=dict)

    @field_validator("channel")
    @classmethod
    def _channels_fit(cls, tables: dict[str, Conversion]) -> dict[str, Conversion]:
        for name, conversion in tables.items():
            if name not in CHANNELS:
                raise ValueError(f"channel {name!r} is not known; the channels are: {', '.join(CHANNELS)}")
            try:
                must_fit(name, conversion)
            except ConversionUnfit as err:
                raise ValueError(f"{name}.{err.field}: {err.why}") from err
        return tables


LinkTable = Annotated[SerialTable | MqttTable, Field(discriminator="kind")]


class RackFile(Table):
    """The whole of rack.toml."""

    rack: RackTable = RackTable()
    api: ApiTable = ApiTable()
    link: list[LinkTable] = Field(min_length=1)
    bay: list[BayTable] = Field(min_length=1)

    @classmethod
    def from_file(cls, path: Path) -> Self:
        """Read and check rack.toml; raises BadFile that names every field that is wrong."""
        config = parse(read_text(path), cls, path)
        data = path.parent / config.rack.data
        return config.model_copy(update={"rack": config.rack.model_copy(update={"data": data})})

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        _no_twice("link", [link.name for link in self.link])
        _no_twice("bay", [bay.name for bay in self.bay])
        kinds = {link.name: link.kind for link in self.link}
        ports: dict[str, str] = {}
        for i, link in enumerate(self.link, 1):
            if isinstance(link, SerialTable):
                # two names of one device (a by-id link and its target) are one port
                real = str(Path(link.port).resolve())
                if real in ports:
                    raise ValueError(
                        f"link[{i}].port: {link.port} is already the port of link {ports[real]!r}; one port has "
                        "one [[link]], and several bays on its line name that same link"
                    )
                ports[real] = link.name
        for i, bay in enumerate(self.bay, 1):
            if bay.link not in kinds:
                raise ValueError(
                    f"bay[{i}].link: {bay.link!r} is not the name of a [[link]]; there are: {', '.join(kinds)}"
                )
            if kinds[bay.link] == "mqtt" and bay.node is None:
                raise ValueError(f"bay[{i}].node: is missing; a bay on an MQTT link names its node")
            if kinds[bay.link] == "serial" and bay.node is not None:
                raise ValueError(f"bay[{i}].node: leave it out; only a bay on an MQTT link has a node")
        return self


def _no_twice(table: str, names: list[str]) -> None:
    for i, name in enumerate(names, 1):
        if name in names[: i - 1]:
            raise ValueError(f"{table}[{i}].name: {name!r} is the name of another {table}; give each its own")
