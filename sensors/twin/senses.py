"""What the node's sensors make of the radio: lag, gain error, noise, the last digit, and their own faults."""

from math import exp
from random import Random

from sensors.twin import raw
from sensors.twin.batch import Build
from sensors.twin.model import Radio
from sensors.twin.spec import UnitSpec

Reading = tuple[str, str, float | bool]

# One standard deviation a sample: a 12-bit converter with light averaging (common practice, no source).
TEMPERATURE_SD_C = 0.04
CURRENT_SD_A = 0.004
VOLTAGE_SD_V = 0.006
POWER_SD_W = 0.01
POWER_SD_RATIO = 0.002

#: What a node's firmware makes of a divider at a rail, when it converts by itself: the ends of its table.
OPEN_C, SHORT_C = -55.0, 175.0
#: How much of the heatsink's rise a sensor still feels when it hangs in the air beside it.
DETACHED_FEELS = 0.15


class Senses:
    """The sensors of one node; ``read`` gives this instant's readings in the contract's names and units."""

    def __init__(self, spec: UnitSpec, build: Build) -> None:
        self._spec = spec
        self._build = build
        self._noise = Random(f"keysoak noise {spec.seed}").gauss
        self._lagged_c: dict[str, float] = {}
        self._kept: dict[str, float] = {}  # the last value told, for a stuck sensor
        self._drains = [f"drain-{i + 1}" for i in range(spec.devices)]
        self._cases = [f"case-{i + 1}" for i in range(spec.devices)]
        self._biases = [f"bias-{i + 1}" for i in range(spec.devices)]
        self._extras = frozenset(spec.extras)

    def read(self, radio: Radio, dt_s: float) -> list[Reading]:
        """All analogue readings, ``dt_s`` after those before."""
        noise, extras, out = self._noise, self._extras, []
        on = radio.condition
        keep = exp(-dt_s / self._build.sensor_tau_s)
        near_c = radio.sink_c
        if on.detached:
            near_c -= on.detached * (1.0 - DETACHED_FEELS) * (radio.sink_c - radio.ambient_c)
        out.append(self._temperature("heatsink", near_c + self._build.heatsink_offset_c, keep, radio))
        if "case" in extras:
            for name, case_c in zip(self._cases, radio.case_c, strict=True):
                out.append(self._temperature(name, case_c, keep, radio))
        drains_a = [
            a * gain + noise(0.0, CURRENT_SD_A) for a, gain in zip(radio.drain_a, self._build.drain_gain, strict=True)
        ]
        if self._spec.one_shunt:
            out.append(self._current("drain-1", sum(drains_a)))
        else:
            out.extend(map(self._current, self._drains, drains_a))
        if "bias" in extras:
            for name, bias_v in zip(self._biases, radio.bias_v, strict=True):
                out.append((name, "V", round(bias_v + noise(0.0, 0.001), 4)))
        out.append(("supply", "V", round(max(radio.supply_v + noise(0.0, VOLTAGE_SD_V), 0.0), 3)))
        out.append(self._power("forward", radio.forward_w))
        if "peak" in extras:
            out.append(self._power("peak", radio.peak_w))
        out.append(self._power("reflected", radio.reflected_w))
        if "load" in extras:
            out.append(self._temperature("load", radio.load_c, keep, radio))
        if "ambient" in extras:
            out.append(self._temperature("ambient", radio.ambient_c, keep, radio))
        return out

    def _temperature(self, name: str, at_c: float, keep: float, radio: Radio) -> Reading:
        before_c = self._lagged_c.get(name, at_c)
        lagged_c = self._lagged_c[name] = at_c + (before_c - at_c) * keep
        wrong = radio.condition.sensors.get(name)
        if wrong == "stuck":
            value = self._kept.get(name, lagged_c)
        elif wrong:
            opened = wrong == "open"
            if self._spec.raw:
                return name, "/", raw.OPEN_RATIO if opened else raw.SHORT_RATIO
            return name, "Cel", OPEN_C if opened else SHORT_C
        else:
            value = self._kept[name] = round(lagged_c + self._noise(0.0, TEMPERATURE_SD_C), 2)
        return (name, "/", round(raw.ntc_ratio(value), 6)) if self._spec.raw else (name, "Cel", value)

    def _current(self, name: str, ampere: float) -> Reading:
        return (name, "V", round(raw.current_v(ampere), 5)) if self._spec.raw else (name, "A", round(ampere, 3))

    def _power(self, name: str, watt: float) -> Reading:
        noisy = watt * (self._build.power_gain + self._noise(0.0, POWER_SD_RATIO)) + self._noise(0.0, POWER_SD_W)
        if self._spec.raw:
            return name, "V", round(raw.detector_v(noisy), 5)
        return name, "W", round(noisy, 3) if noisy > 0.0 else 0.0
