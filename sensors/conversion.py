"""What every channel's conversion is: a table of rack.toml that builds a fast function for the hot path."""

from abc import ABC, abstractmethod
from collections.abc import Callable
from math import isfinite

from pydantic import BaseModel, ConfigDict

from sensors.types import NAN, Quality

Answer = tuple[float, Quality]
Convert = Callable[[float, str], Answer]
"""(a record's value, its SenML unit) -> (engineering value, quality): nan unless GOOD; raises nothing."""

GOOD = Quality.GOOD
OPEN: Answer = (NAN, Quality.OPEN)
SHORT: Answer = (NAN, Quality.SHORT)
OUTSIDE: Answer = (NAN, Quality.OUTSIDE)
BELOW: Answer = (NAN, Quality.BELOW)
REFUSED: Answer = (NAN, Quality.REFUSED)


class ChannelTable(BaseModel, ABC):
    """One channel's conversion as it stands in rack.toml, ``[bay.channel.<name>]``."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @abstractmethod
    def engineering_unit(self) -> str:
        """The SenML unit of what it gives."""

    @abstractmethod
    def raw_units(self) -> tuple[str, ...]:
        """The SenML units that it converts; a record in the engineering unit is passed through besides."""

    @abstractmethod
    def build(self) -> Convert:
        """The function to be called for every record of the channel."""

    @abstractmethod
    def _wire_hints(self) -> dict[Quality, str]:
        """What to look at, for the qualities that mean something particular to this sensor."""

    def wire_hint(self, quality: Quality) -> str:
        """A sentence that says which wire or setting to look at; empty when there is nothing to look for."""
        if quality is Quality.REFUSED:
            return refused_hint((*self.raw_units(), self.engineering_unit()))
        return self._wire_hints().get(quality) or COMMON_HINTS[quality]


def pass_through(value: float) -> Answer:
    """A reading that the node has converted already."""
    return (value, GOOD) if isfinite(value) else REFUSED


def refused_hint(units: tuple[str, ...]) -> str:
    """What to look at when a record has a unit that its channel does not take."""
    taken = " or ".join(repr(unit) for unit in dict.fromkeys(units))
    return f"the node must send a number in {taken}: look at the record's unit in the node's own set-up"


COMMON_HINTS = {
    Quality.GOOD: "",
    Quality.MISSING: "the node sends no record of this name: look at the channels in the node's own set-up",
    Quality.OPEN: "no current flows: look at the sensor's wires",
    Quality.SHORT: "the sensor's wires touch: look at its plug and cable",
    Quality.OUTSIDE: "the reading is outside what the sensor can say: look at its supply and ground wires",
    Quality.BELOW: "less than the lowest point of the table: no power, or the detector's wire is off",
    Quality.REFUSED: "the node must send a number in a unit that this channel takes",
}
