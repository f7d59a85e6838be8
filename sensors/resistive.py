"""Temperature channels whose sensor is a resistor: thermistors and platinum, alone or in a divider."""

from collections.abc import Callable
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from sensors import ntc, platinum
from sensors.conversion import GOOD, OPEN, OUTSIDE, REFUSED, SHORT, Answer, ChannelTable, Convert, pass_through
from sensors.errors import ConversionUnfit
from sensors.types import Quality

Ohm = Annotated[float, Field(gt=0, le=1e9)]
Celsius = Annotated[float, Field(ge=-100, le=400)]
Volt = Annotated[float, Field(gt=0, le=1000)]
Point = tuple[Celsius, Ohm]

#: A resistance ten times beyond the sensor's own range is a broken wire or a short, not cold or heat (practice).
BROKEN_TIMES = 10.0


class _Resistive(ChannelTable):
    """The divider and the limits that all these sensors share.

    A node may send the divider's output over its supply (``/``), its output (``V``, with ``supply_v``), or ``Ohm``.
    """

    sensor: ClassVar[str] = "sensor"

    reference_ohm: Ohm | None = Field(default=None, description="the resistor that the sensor is in series with")
    side: ntc.Side = Field(default="ground", description="where the sensor's far end goes: ground or supply")
    supply_v: Volt | None = Field(default=None, description="the divider's supply, where the node sends volts")
    rail: float = Field(default=0.002, gt=0, lt=0.1, description="a ratio so near 0 or 1 is a fault")

    def engineering_unit(self) -> str:
        return "Cel"

    def raw_units(self) -> tuple[str, ...]:
        divider = () if self.reference_ohm is None else ("/",) if self.supply_v is None else ("/", "V")
        return (*divider, "Ohm")

    def _celsius(self) -> Callable[[float], float]:
        raise NotImplementedError

    def _ohm_range(self) -> tuple[float, float]:
        """The lowest and the highest resistance that are still a temperature."""
        raise NotImplementedError

    def _self_heating(self) -> float | None:
        """The dissipation constant, W/K."""
        return None

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.supply_v is not None and self.reference_ohm is None:
            raise ValueError("supply_v: needs reference_ohm, the other half of the divider")
        try:
            low_ohm, high_ohm = self._ohm_range()
            self._celsius()
        except ConversionUnfit as err:
            raise ValueError(str(err)) from err
        if self.reference_ohm is not None:
            near = [ntc.ratio_from_ohm(ohm, self.reference_ohm, "ground") for ohm in (low_ohm, high_ohm)]
            if not self.rail < near[0] < near[1] < 1.0 - self.rail:
                raise ValueError(
                    f"reference_ohm: with {self.reference_ohm:g} ohm the sensor's range ends at {near[0]:.4f} and "
                    f"{near[1]:.4f} of the supply, within the rail of {self.rail:g} that tells an open or shorted "
                    f"sensor; right would be about {(low_ohm * high_ohm) ** 0.5:.0f} ohm, a smaller rail, or a "
                    "smaller range"
                )
        return self

    def build(self) -> Convert:
        celsius, (low_ohm, high_ohm) = self._celsius(), self._ohm_range()
        short_ohm, open_ohm = low_ohm / BROKEN_TIMES, high_ohm * BROKEN_TIMES
        reference, delta = self.reference_ohm or 0.0, self._self_heating()
        supply_v, to_supply = self.supply_v or 0.0, self.side == "supply"
        if reference:
            short_ohm = max(short_ohm, ntc.ohm_from_ratio(self.rail, reference, "ground"))
            open_ohm = min(open_ohm, ntc.ohm_from_ratio(1.0 - self.rail, reference, "ground"))

        def from_ohm(ohm: float) -> Answer:
            if low_ohm <= ohm <= high_ohm:
                c = celsius(ohm)
                if delta:
                    c -= ntc.self_heating_k(ohm, supply_v * ohm / (ohm + reference), delta)
                return c, GOOD
            if ohm >= open_ohm:
                return OPEN
            return SHORT if ohm <= short_ohm else OUTSIDE

        def convert(value: float, unit: str) -> Answer:
            if unit == "/" and reference:
                ratio = value
            elif unit == "Cel":
                return pass_through(value)
            elif unit == "Ohm":
                return from_ohm(value)
            elif unit == "V" and supply_v:
                ratio = value / supply_v
            else:
                return REFUSED
            if to_supply:
                ratio = 1.0 - ratio
            if ratio >= 1.0:
                return OPEN
            return from_ohm(reference * ratio / (1.0 - ratio))

        return convert

    def _wire_hints(self) -> dict[Quality, str]:
        resistor = " and the reference resistor" if self.reference_ohm else ""
        low_ohm, high_ohm = self._ohm_range()
        return {
            Quality.OPEN: f"no current flows: look at the {self.sensor}'s two wires{resistor}",
            Quality.SHORT: f"no voltage across the {self.sensor}: look for its two wires touching, at the sensor and "
            "in its plug",
            Quality.OUTSIDE: f"not within {low_ohm:.3g} to {high_ohm:.3g} ohm, so no temperature of this "
            f"{self.sensor}: look at its type in rack.toml, a bad contact{resistor and ', and the reference resistor'}",
        }


class _Ntc(_Resistive):
    sensor: ClassVar[str] = "thermistor"

    dissipation_w_per_k: float | None = Field(
        default=None, gt=0, le=10, description="its dissipation constant, to take self-heating off"
    )

    def _self_heating(self) -> float | None:
        return self.dissipation_w_per_k

    @model_validator(mode="after")
    def _heats_itself(self) -> Self:
        if self.dissipation_w_per_k is not None and self.supply_v is None:
            raise ValueError("dissipation_w_per_k: needs supply_v and reference_ohm, from which self-heating comes")
        return self


class _NtcCurve(_Ntc):
    """A thermistor by a formula, which needs to be told the range in which it holds."""

    low_c: Celsius = Field(default=-30.0, description="colder is no temperature of this sensor")
    high_c: Celsius = Field(default=150.0, description="hotter is no temperature of this sensor")

    def _ohm_at(self, celsius: float) -> float:
        raise NotImplementedError

    def _ohm_range(self) -> tuple[float, float]:
        if self.low_c >= self.high_c:
            raise ConversionUnfit("low_c", f"must be under high_c, which is {self.high_c:g}")
        return self._ohm_at(self.high_c), self._ohm_at(self.low_c)


class NtcBeta(_NtcCurve):
    """An NTC by the beta equation."""

    kind: Literal["ntc-beta"]
    beta_k: float = Field(ge=500, le=10_000, description="B, kelvin")
    r0_ohm: Ohm = Field(description="its resistance at t0_c")
    t0_c: Celsius = 25.0

    def _celsius(self) -> Callable[[float], float]:
        return ntc.beta(self.r0_ohm, self.beta_k, self.t0_c)

    def _ohm_at(self, celsius: float) -> float:
        return ntc.beta_ohm(celsius, self.r0_ohm, self.beta_k, self.t0_c)


class NtcSteinhartHart(_NtcCurve):
    """An NTC by the Steinhart-Hart equation: its three coefficients, or three measured points."""

    kind: Literal["ntc-steinhart-hart"]
    a: float | None = None
    b: float | None = None
    c: float | None = None
    points: list[Point] | None = Field(default=None, description="three of [temperature in °C, resistance in ohm]")

    def _coefficients(self) -> ntc.SteinhartHart:
        if self.points is not None:
            if (self.a, self.b, self.c) != (None, None, None):
                raise ConversionUnfit("points", "either three points, or a, b and c")
            return ntc.solve_three_points(self.points)
        if self.a is None or self.b is None or self.c is None:
            raise ConversionUnfit("a, b, c", "all three, or three points")
        return ntc.SteinhartHart(self.a, self.b, self.c)

    def _celsius(self) -> Callable[[float], float]:
        return ntc.steinhart_hart(self._coefficients())

    def _ohm_at(self, celsius: float) -> float:
        return ntc.steinhart_hart_ohm(celsius, self._coefficients())


class NtcTable(_Ntc):
    """An NTC by its maker's table, straight in (ln R, 1/T), never beyond the table's ends."""

    kind: Literal["ntc-table"]
    table: list[Point] = Field(min_length=2, description="[temperature in °C, resistance in ohm] in any order")

    def _celsius(self) -> Callable[[float], float]:
        return ntc.table(self.table)

    def _ohm_range(self) -> tuple[float, float]:
        ohms = [ohm for _, ohm in self.table]
        return min(ohms), max(ohms)


class Platinum(_Resistive):
    """A Pt100, a Pt1000 or any other of IEC 60751."""

    sensor: ClassVar[str] = "platinum sensor"

    kind: Literal["platinum"]
    r0_ohm: float = Field(default=100.0, ge=10, le=10_000, description="its resistance at 0 °C")

    def _celsius(self) -> Callable[[float], float]:
        return platinum.thermometer(self.r0_ohm)

    def _ohm_range(self) -> tuple[float, float]:
        return platinum.ohm(platinum.LOW_C, self.r0_ohm), platinum.ohm(platinum.HIGH_C, self.r0_ohm)
