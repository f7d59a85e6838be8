"""What a start is judged by: a radio's typical figures and its load's rating; and what a plan asks of both."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Watts = Annotated[float, Field(ge=0, le=100_000, allow_inf_nan=False)]


class Typical(BaseModel):
    """Typical figures of a radio and the rating of its load. What rack.toml says of a bay's load goes before this."""

    model_config = ConfigDict(extra="forbid")

    forward_w: Watts = Field(default=25.0, gt=0)  # of a carrier; of two tones the peak envelope power
    efficiency_percent: float = Field(default=50.0, gt=0, lt=100, allow_inf_nan=False)  # RF out of what the drains take
    idle_w: Watts = 7.0  # what the drains take without drive
    load_w: Watts | None = Field(default=None, gt=0)  # the load's continuous rating
    load_short_w: Watts | None = Field(default=None, gt=0)  # what it takes for a while ...
    load_short_min: float | None = Field(default=None, gt=0, le=1440, allow_inf_nan=False)  # ... and for how long
    load_j: float | None = Field(default=None, gt=0, le=1e12, allow_inf_nan=False)  # what it takes in one soak


class PhasePower(BaseModel):
    """What one phase puts into the load and into the radio while it is keyed."""

    load_w: float
    heat_w: float


class Estimate(BaseModel):
    """What a plan asks; ``problems`` are why it may not start on this load."""

    key_down_s: float
    dissipation_max_w: float  # in the radio
    dissipation_mean_w: float  # over the whole plan
    load_max_w: float
    load_mean_w: float  # over the whole plan
    load_worst_w: float  # the highest mean over any stretch as long as ``window_s``
    window_s: float
    load_j: float
    phases: list[PhasePower]
    problems: list[str]


class LoadRating(BaseModel):
    """What a bay's dummy load takes, as rack.toml says."""

    load_w: float
    load_short_w: float | None = None
    load_short_min: float | None = None
    load_j: float | None = None

    def over(self, typical: Typical) -> Typical:
        """These figures with this rating: who orders a soak can't make a load larger than it is."""
        return typical.model_copy(update=self.model_dump())
