"""What the control API says of units of one kind and device lot, taken together."""

from pydantic import Field

from daemon.api.models import Model

#: name of each figure for a reader; what is not here is read as it is written
NAMES = {
    "heatsink_k_per_w": "Heatsink's thermal resistance",
    "case_k_per_w": "Case to heatsink, worst device",
    "idle_per_k_a": "Idle current per kelvin",
    "idle_25c_a": "Idle current at 25 °C",
    "forward_mean_w": "Forward power",
    "efficiency_ratio": "Efficiency under drive",
    "watts_per_ampere_w_a": "Power for each ampere",
}


#: with fewer good units than this a band would be a guess; common practice, no source
LEAST_UNITS = 5


def in_words(text: str) -> str:
    """A sentence about a figure, with the figure's name in place of its key."""
    for figure, name in NAMES.items():
        text = text.replace(figure, f"{name[:1].lower()}{name[1:]}")
    return text


def named(what: str, name: str) -> str:
    """``lot 7`` of ``7``, and also of ``lot 7``; empty where there is no name."""
    return name if not name or name.casefold().startswith(what) else f"{what} {name}"


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
