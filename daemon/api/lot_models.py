"""What the control API says of units of one kind and device lot, taken together."""

from pydantic import Field

from daemon.api.models import Model


class UnitFigure(Model):
    """One unit's figure, as a mark in a band."""

    job: int
    unit: str
    value: float
    passed: bool


class Heat(Model):
    """Time at temperature of a lot's good units, as so long at ``service_c`` (Arrhenius): the least and the most of one
    soak, and of all together. The activation energy is an assumption, and is told with it."""

    units: int
    service_c: float
    activation_ev: float
    least_s: float
    most_s: float
    total_s: float


class Band(Model):
    """Where the good units lie in one figure: median and a robust standard deviation; ``units`` the oldest first."""

    figure: str
    unit: str
    low: float
    middle: float
    high: float
    sd: float
    units: list[UnitFigure] = Field(default_factory=list)


class Outside(Model):
    """One unit that stands apart from the others, with a sentence that says what to suspect."""

    job: int
    unit: str
    figure: str
    value: float
    middle: float
    sd_out: float
    text: str


class Trend(Model):
    """A drift from unit to unit, by an EWMA chart over the good ones."""

    figure: str
    job: int
    average: float
    limit: float
    text: str


class LotView(Model):
    """All soaks of one kind of unit with devices of one type and lot."""

    kind: str
    device_type: str
    lot: str
    units: int
    passed: int
    bands: list[Band] = Field(default_factory=list)
    outside: list[Outside] = Field(default_factory=list)
    trends: list[Trend] = Field(default_factory=list)
    not_judged: dict[str, str] = Field(default_factory=dict)
    heat: Heat | None = None
