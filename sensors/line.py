"""Straight-line sensors: zero and span; a shunt with its amplifier; a Hall sensor ratiometric to its supply."""

from typing import NamedTuple


class Line(NamedTuple):
    """``value = (raw - zero) * span``: ``zero`` in the raw unit, ``span`` in the value's unit per raw unit."""

    zero: float
    span: float

    def value(self, raw: float) -> float:
        """What a raw reading stands for."""
        return (raw - self.zero) * self.span

    def raw(self, value: float) -> float:
        """The raw reading that a value gives."""
        return value / self.span + self.zero


def shunt(shunt_ohm: float, gain: float = 1.0, zero_v: float = 0.0) -> Line:
    """Volts to ampere: ``I = (V - V0) / (gain * R)``, V0 the amplifier's output at no current."""
    return Line(zero_v, 1.0 / (gain * shunt_ohm))


def hall(ratio_per_a: float, zero_ratio: float = 0.5) -> Line:
    """Output over supply to ampere; ``ratio_per_a`` is negative where the current runs the other way through."""
    return Line(zero_ratio, 1.0 / ratio_per_a)
