"""How each channel of a bay becomes its engineering unit: the tables ``[bay.channel.<name>]`` of rack.toml."""

from collections.abc import Mapping
from math import inf
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sensors.conversion import COMMON_HINTS as _COMMON_HINTS
from sensors.conversion import GOOD, OUTSIDE, REFUSED, Answer, ChannelTable, Convert, pass_through, refused_hint
from sensors.detector import answering
from sensors.errors import ConversionUnfit
from sensors.line import Line, hall, shunt
from sensors.resistive import NtcBeta, NtcSteinhartHart, NtcTable, Platinum
from sensors.types import BOOLEANS, UNITS, Quality

__all__ = [
    "Conversion", "Convert", "DetectorTable", "Hall", "NtcBeta", "NtcSteinhartHart", "NtcTable", "Platinum", "Shunt",
    "Straight", "Wiring", "must_fit", "plain", "plain_hint",
]  # fmt: skip

Wiring = Mapping[str, Convert]
"""channel name -> its conversion; a channel that is not in it is ``plain``."""


class _StraightLine(ChannelTable):
    def _line(self) -> Line:
        raise NotImplementedError

    def _raw_range(self) -> tuple[float, float]:
        return -inf, inf

    def build(self) -> Convert:
        (zero, span), (low, high) = self._line(), self._raw_range()
        raw_unit, unit_out = self.raw_units()[0], self.engineering_unit()

        def convert(value: float, unit: str) -> Answer:
            if unit == raw_unit:
                out = (value - zero) * span
                # the second half keeps inf and nan out, and a product that no double holds
                return (out, GOOD) if low <= value <= high and -inf < out < inf else OUTSIDE
            return pass_through(value) if unit == unit_out else REFUSED

        return convert

    def _wire_hints(self) -> dict[Quality, str]:
        low, high = self._raw_range()
        return {
            Quality.OUTSIDE: f"the raw reading is not within {low:g} to {high:g} {self.raw_units()[0]}: look at the "
            "sensor's supply, ground and output wires"
        }


class Straight(_StraightLine):
    """A straight line: ``(raw - zero) * span``. Where ``raw`` and ``gives`` are one unit, every record is converted."""

    kind: Literal["line"]
    raw: Literal["V", "/", "A", "Ohm"] = Field(default="V", description="the unit that the node sends")
    gives: Literal["Cel", "A", "V", "W"] = Field(description="the channel's unit")
    zero: float = Field(default=0.0, description="the raw reading that stands for 0")
    span: float = Field(description="engineering units for one raw unit")
    low: float | None = Field(default=None, description="a raw reading under it is a fault")
    high: float | None = Field(default=None, description="a raw reading over it is a fault")

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.span == 0:
            raise ValueError("span: must not be 0, or every reading would be the same")
        low, high = self._raw_range()
        if low >= high:
            raise ValueError(f"low: must be under high, which is {high:g}")
        return self

    def engineering_unit(self) -> str:
        return self.gives

    def raw_units(self) -> tuple[str, ...]:
        return (self.raw,)

    def _line(self) -> Line:
        return Line(self.zero, self.span)

    def _raw_range(self) -> tuple[float, float]:
        return -inf if self.low is None else self.low, inf if self.high is None else self.high


class Shunt(_StraightLine):
    """A shunt and its amplifier: volts to ampere."""

    kind: Literal["shunt"]
    shunt_ohm: float = Field(gt=0, le=10)
    gain: float = Field(default=1.0, gt=0, le=10_000, description="the amplifier's, V/V")
    zero_v: float = Field(default=0.0, ge=-10, le=10, description="the amplifier's output at no current")
    low_v: float | None = Field(default=None, description="a reading under it is a fault: the amplifier has no supply")
    high_v: float | None = Field(default=None, description="a reading over it is a fault: the amplifier is at its rail")

    @model_validator(mode="after")
    def _fits(self) -> Self:
        low, high = self._raw_range()
        if not low <= self.zero_v < high:
            raise ValueError("zero_v: must lie from low_v up to high_v")
        return self

    def engineering_unit(self) -> str:
        return "A"

    def raw_units(self) -> tuple[str, ...]:
        return ("V",)

    def _line(self) -> Line:
        return shunt(self.shunt_ohm, self.gain, self.zero_v)

    def _raw_range(self) -> tuple[float, float]:
        return -inf if self.low_v is None else self.low_v, inf if self.high_v is None else self.high_v


class Hall(_StraightLine):
    """A Hall sensor whose output is a share of its supply: ratio to ampere."""

    kind: Literal["hall"]
    ratio_per_a: float = Field(ge=-1, le=1, description="negative where the current runs the other way through it")
    zero_ratio: float = Field(default=0.5, ge=0, lt=1, description="its output over its supply at no current")
    rail: float = Field(default=0.02, gt=0, lt=0.5, description="a ratio so near 0 or 1 is a fault")

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.ratio_per_a == 0:
            raise ValueError("ratio_per_a: must not be 0; 0.02 is a sensor of 100 mV/A on 5 V")
        if not self.rail < self.zero_ratio < 1.0 - self.rail:
            raise ValueError(f"zero_ratio: must be clear of the rails, {self.rail:g} to {1 - self.rail:g}")
        return self

    def engineering_unit(self) -> str:
        return "A"

    def raw_units(self) -> tuple[str, ...]:
        return ("/",)

    def _line(self) -> Line:
        return hall(self.ratio_per_a, self.zero_ratio)

    def _raw_range(self) -> tuple[float, float]:
        return self.rail, 1.0 - self.rail


class DetectorTable(ChannelTable):
    """A power detector by its calibration table, straight in (log V, dBm), never beyond the table's ends."""

    kind: Literal["detector"]
    table: list[tuple[float, float]] = Field(min_length=2, description="[output in V, power in dBm] in any order")

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if any(not -100 <= dbm <= 100 for _, dbm in self.table):
            raise ValueError("table: each point is [output in V, power in dBm], the power from -100 to 100 dBm")
        try:
            answering(self.table)
        except ConversionUnfit as err:
            raise ValueError(str(err)) from err
        return self

    def engineering_unit(self) -> str:
        return "W"

    def raw_units(self) -> tuple[str, ...]:
        return ("V",)

    def build(self) -> Convert:
        answer = answering(self.table)

        def convert(value: float, unit: str) -> Answer:
            if unit == "V":
                return answer(value)
            return pass_through(value) if unit == "W" else REFUSED

        return convert

    def _wire_hints(self) -> dict[Quality, str]:
        high = max(volts for volts, _ in self.table)
        return {
            Quality.OUTSIDE: f"more than {high:g} V, the table's highest point: look at the coupler's and attenuator's "
            "ratio, and at the detector's ground wire"
        }


Conversion = Annotated[
    NtcBeta | NtcSteinhartHart | NtcTable | Platinum | Straight | Shunt | Hall | DetectorTable,
    Field(discriminator="kind"),
]


def must_fit(channel: str, conversion: ChannelTable) -> None:
    """Raise ConversionUnfit when a conversion does not give the channel's unit."""
    if channel in BOOLEANS:
        raise ConversionUnfit("kind", f"{channel} is yes or no; leave its table out")
    unit, given = UNITS[channel], conversion.engineering_unit()
    if unit != given:
        raise ConversionUnfit("kind", f"it gives {given}, and {channel} is in {unit}")


def plain(channel: str) -> Convert:
    """For a channel with no table: takes its engineering unit only; yes or no for one that is a boolean."""
    wanted = UNITS[channel]

    def convert(value: float, unit: str) -> Answer:
        return pass_through(value) if unit == wanted else REFUSED

    def convert_boolean(value: float, unit: str) -> Answer:
        # a resolved boolean may carry the pack's base unit (RFC 8428 section 4.5), which says nothing about it
        return (float(value), GOOD) if value in {0.0, 1.0} else REFUSED

    return convert_boolean if channel in BOOLEANS else convert


def plain_hint(channel: str, quality: Quality) -> str:
    """What to look at, for a channel with no table."""
    return refused_hint((UNITS[channel],)) if quality is Quality.REFUSED else _COMMON_HINTS[quality]
