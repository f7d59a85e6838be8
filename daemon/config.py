"""``rack.toml``: the rack's bays in the order in which they stand, and the links that reach their nodes."""

import re
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, SecretStr, field_validator, model_validator

from daemon.api.load_models import LoadRating
from daemon.certificate.mark import read_mark
from daemon.errors import BadFile, Problem
from daemon.files import parse, read_text
from sensors.errors import ConversionUnfit
from sensors.types import CHANNELS
from sensors.wiring import Conversion, must_fit

#: one level of an MQTT topic and one part of a SenML name, both without surprises (RFC 8428 section 4.5.1)
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,62}$")]

_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://")


class Table(BaseModel):
    """A table of rack.toml: a field that is not known is an error, not a silent miss."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class RackTable(Table):
    """What the rack is called, where its readings are kept, and what a person should know of it."""

    name: Name = "rack-1"
    data: Path = Path("keysoak-data")  # from the folder of rack.toml
    note: str = Field(default="", max_length=300)
    page_url: str = Field(default="", pattern=r"^(https?://[^\s/]+[^\s]*)?$")  # where those who are told find the page


class ApiTable(Table):
    """Where the control API listens. Only this machine can reach the default."""

    host: str = "127.0.0.1"
    port: int = Field(default=8051, ge=0, le=65535)


class WorkshopTable(Table):
    """Who puts its name, and its mark, to a certificate."""

    name: str = Field(default="", max_length=80)
    mark: Path | None = None  # an .svg, .png or .jpg file, from the folder of rack.toml


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


class LoadTable(Table):
    """What a bay's dummy load takes, read off the load: a plan that asks for more is not started there."""

    continuous_w: float = Field(gt=0, le=100_000, allow_inf_nan=False)
    short_w: float | None = Field(default=None, gt=0, le=100_000, allow_inf_nan=False)  # for a while ...
    short_min: float | None = Field(default=None, gt=0, le=1440, allow_inf_nan=False)  # ... of so many minutes
    soak_kj: float | None = Field(default=None, gt=0, le=1e9, allow_inf_nan=False)  # what it takes in one soak

    @model_validator(mode="after")
    def _both_or_neither(self) -> Self:
        if (self.short_w is None) != (self.short_min is None):
            raise ValueError("short_w and short_min go together: give both, or leave both out")
        return self

    def rating(self) -> LoadRating:
        """The same as the API says it."""
        return LoadRating(
            load_w=self.continuous_w,
            load_short_w=self.short_w,
            load_short_min=self.short_min,
            load_j=None if self.soak_kj is None else self.soak_kj * 1e3,
        )


class BayTable(Table):
    """One radio on one dummy load."""

    name: Name
    link: Name
    node: Name | None = None
    rate_hz: float = Field(default=2.0, gt=0, le=100, allow_inf_nan=False)
    lease_s: float = Field(default=3.0, ge=0.5, le=30, allow_inf_nan=False)
    tone: bool = False  # the node can gate a tone generator
    load: LoadTable | None = None
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


class TellTable(Table):
    """Somebody who is told of alerts, by whatever an apprise URL reaches: mail, webhook, chat, push."""

    name: Name
    url: SecretStr | None = None
    url_file: Path | None = None  # a file that holds the URL, from the folder of rack.toml: a URL has secrets in it
    priorities: tuple[Literal["advisory", "warning", "trip"], ...] = Field(default=("warning", "trip"), min_length=1)
    escalate_from: Name | None = None  # told only of what that one was told and nobody acknowledged
    escalate_after_min: float = Field(default=10.0, gt=0, le=1440, allow_inf_nan=False)

    # on the whole table, as an error on the field would say the URL, and with it its secrets
    @model_validator(mode="after")
    def _one_url(self) -> Self:
        if (self.url is None) == (self.url_file is None):
            raise ValueError("give either url, or url_file: a file that holds the URL")
        if self.url is not None and not _SCHEME.match(self.url.get_secret_value()):
            raise ValueError("url: is no apprise URL, which begins with a word and ://, as mailtos:// or json://")
        return self


LinkTable = Annotated[SerialTable | MqttTable, Field(discriminator="kind")]


class RackFile(Table):
    """The whole of rack.toml."""

    rack: RackTable = RackTable()
    api: ApiTable = ApiTable()
    workshop: WorkshopTable = WorkshopTable()
    link: list[LinkTable] = Field(min_length=1)
    bay: list[BayTable] = Field(min_length=1)
    tell: list[TellTable] = Field(default_factory=list)

    @classmethod
    def from_file(cls, path: Path) -> Self:
        """Read and check rack.toml; raises BadFile that names every field that is wrong."""
        config = parse(read_text(path), cls, path)
        here = path.parent
        rack = config.rack.model_copy(update={"data": here / config.rack.data})
        tell = [t.model_copy(update={"url_file": here / t.url_file}) if t.url_file else t for t in config.tell]
        workshop = _with_mark(config.workshop, here, path)
        return config.model_copy(update={"rack": rack, "tell": tell, "workshop": workshop})

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
            if bay.node == "alerts":
                raise ValueError(f"bay[{i}].node: 'alerts' is where open alerts are; give the node another name")
            if kinds[bay.link] == "serial" and bay.node is not None:
                raise ValueError(f"bay[{i}].node: leave it out; only a bay on an MQTT link has a node")
        _escalates_to_an_end(self.tell)
        return self


def _with_mark(workshop: WorkshopTable, here: Path, source: Path) -> WorkshopTable:
    if workshop.mark is None:
        return workshop
    mark = here / workshop.mark
    try:
        read_mark(mark)  # now, and not when the first certificate is wanted
    except BadFile as err:
        raise BadFile(source, [Problem("workshop.mark", f"{mark}: {one.what}") for one in err.problems]) from err
    return workshop.model_copy(update={"mark": mark})


def _escalates_to_an_end(tell: list[TellTable]) -> None:
    _no_twice("tell", [table.name for table in tell])
    source = {table.name: table.escalate_from for table in tell}
    for i, table in enumerate(tell, 1):
        if table.escalate_from is None:
            if "escalate_after_min" in table.model_fields_set:
                raise ValueError(f"tell[{i}].escalate_after_min: goes with escalate_from, which is missing")
            continue
        if table.escalate_from not in source:
            known = ", ".join(source)
            raise ValueError(
                f"tell[{i}].escalate_from: {table.escalate_from!r} is not the name of a [[tell]]; there are: {known}"
            )
        passed: set[str] = {table.name}
        at: str | None = table.escalate_from
        while at is not None:
            if at in passed:
                raise ValueError(f"tell[{i}].escalate_from: goes round in a circle; one [[tell]] is told at once")
            passed.add(at)
            at = source.get(at)


def _no_twice(table: str, names: list[str]) -> None:
    for i, name in enumerate(names, 1):
        if name in names[: i - 1]:
            raise ValueError(f"{table}[{i}].name: {name!r} is the name of another {table}; give each its own")
