"""The sensors and the node of one trial: noise, steps, hum, spikes, lost packs, absent channels, their faults."""

from dataclasses import dataclass
from math import exp, inf, log, nan, pi, sin
from random import Random
from typing import Any

from sensors.types import CHANNELS, INDEX, UNITS, Frame, Quality
from tests.bench.state import State

START_NS = 1_764_054_000_000_000_000


def log_uniform(rng: Random, low: float, high: float) -> float:
    """Evenly over the logarithm."""
    return exp(rng.uniform(log(low), log(high)))


@dataclass(slots=True)
class Off:
    """What is wrong with the heatsink's sensor, from its onset on."""

    onset_s: float = inf
    ramp_s: float = 0.0
    feels: float = 1.0
    hang_s: float = 0.0
    flickers: bool = False


class Sensors:
    """Drawn from the trial's own ``rng``, for a unit of so many ``devices``."""

    def __init__(self, rng: Random, nuisance: str, fault: str, devices: int, *, one_shunt: bool, plain: bool) -> None:
        self._rng, self._fault, self._one_shunt = rng, fault, one_shunt
        self.off = Off()
        noisy = 3.0 if nuisance == "hum" else 1.0
        self._sd = {
            "Cel": log_uniform(rng, 0.01, 0.12),
            "A": log_uniform(rng, 0.002, 0.01) * noisy,
            "V": log_uniform(rng, 0.003, 0.02) * noisy,
        }
        self._power_sd = log_uniform(rng, 0.002, 0.006) * noisy
        coarse = nuisance == "coarse"
        self._step = {
            "Cel": rng.choice([0.1, 0.25, 0.5]) if coarse else rng.choice([0.01, 0.05, 0.1]),
            "A": rng.choice([0.01, 0.02]) if coarse else 0.001,
            "V": rng.choice([0.02, 0.05]) if coarse else 0.001,
            "W": rng.choice([0.05, 0.1]) if coarse else 0.01,
        }
        self._hum = (rng.uniform(0.003, 0.015), rng.uniform(0.05, 0.45)) if nuisance == "hum" else (0.0, 0.0)
        self._lost = rng.uniform(0.01, 0.05) if nuisance == "lost" else 0.001
        self._lost_on_end = 0
        self._spiked = -10
        self._spike = 0.002 if nuisance == "spikes" else 0.0
        gains = [rng.uniform(0.99, 1.01) for _ in range(4)]
        if nuisance == "mismatch":
            # twelve percent in all, as a shunt's error: the worlds' own mismatch, wider over four devices, is on top
            off = 0.045 if devices <= 2 else 0.03
            gains = [1.0 + off if i % 2 else 1.0 - off for i in range(4)]
            gains = [g * rng.uniform(0.995, 1.005) for g in gains]
        self._gain = gains
        self._power_gain = rng.uniform(0.95, 1.05)
        self._lag_s = rng.uniform(2.0, 15.0)
        self._offset_c = rng.uniform(-1.5, 1.5)
        optional = ["reflected", "ambient", "load", "case", "bias", "peak"]
        gone = 0.8 if nuisance == "absent" else 0.35
        self._has = {name for name in optional if rng.random() > gone}
        self._says_key = not (nuisance == "absent" and rng.random() < 0.5)
        if fault == "dry-pad" and not plain:
            # a device near its zero temperature coefficient shows a dry pad by its case alone
            self._has.add("case")
        if fault == "bad-load":
            self._has.add("reflected")
        self._lagged_c = nan
        self._frozen: float | None = None

    def loses(self) -> bool:
        """Whether the next pack is lost: two on end at the most, since what lasts for three is a lost link."""
        lost = self._lost_on_end < 2 and self._rng.random() < self._lost
        self._lost_on_end = self._lost_on_end + 1 if lost else 0
        return lost

    def sense(self, state: State, at_s: float, dt_s: float, key: bool, seq: int) -> Frame:
        """What the node sends of this state."""
        rng = self._rng
        values = [nan] * len(CHANNELS)
        quality = bytearray([Quality.MISSING]) * len(CHANNELS)

        def put(name: str, value: float) -> None:
            unit = UNITS[name]
            step = self._step.get(unit, 0.0)
            if step:
                value = round(value / step) * step
            # one sample at a time: what lasts for two is no spike
            if self._spike and seq - self._spiked > 5 and rng.random() < self._spike:
                self._spiked = seq
                value = value * rng.choice([0.0, 2.0, 4.0]) + rng.uniform(-5.0, 5.0)
            values[INDEX[name]] = value
            quality[INDEX[name]] = Quality.GOOD

        self._heatsink(state, at_s, dt_s, put, quality)
        hum = 1.0 + self._hum[0] * sin(2 * pi * self._hum[1] * at_s)
        sd = self._sd
        drains = [a * g * hum + rng.gauss(0.0, sd["A"]) for a, g in zip(state.drain_a, self._gain, strict=False)]
        if self._one_shunt:
            drains = [sum(drains)]
        for k, a in enumerate(drains):
            put(f"drain-{k + 1}", a)
        if "case" in self._has:
            for k, c in enumerate(state.case_c):
                put(f"case-{k + 1}", c + rng.gauss(0.0, sd["Cel"]))
        if "bias" in self._has:
            for k, v in enumerate(state.bias_v):
                put(f"bias-{k + 1}", v + rng.gauss(0.0, 0.2 * sd["V"]))
        put("supply", max(state.supply_v + rng.gauss(0.0, sd["V"]), 0.0))
        for name, watt in (("forward", state.forward_w), ("peak", state.peak_w), ("reflected", state.reflected_w)):
            if name == "forward" or name in self._has:
                noisy = watt * (self._power_gain * hum + rng.gauss(0.0, self._power_sd)) + rng.gauss(0.0, 0.01)
                put(name, max(noisy, 0.0))
        if "load" in self._has:
            put("load", state.load_c + rng.gauss(0.0, sd["Cel"]))
        if "ambient" in self._has:
            put("ambient", state.ambient_c + rng.gauss(0.0, sd["Cel"]))
        if self._says_key:
            values[INDEX["key"]] = float(key)
            quality[INDEX["key"]] = Quality.GOOD
        return Frame("bay-1", START_NS + int(at_s * 1e9), at_s, seq, tuple(values), bytes(quality))

    def _heatsink(self, state: State, at_s: float, dt_s: float, put: Any, quality: bytearray) -> None:
        after = at_s >= self.off.onset_s
        target_c, lag_s = state.sink_c, self._lag_s
        if self._fault == "detached" and after:
            part = min((at_s - self.off.onset_s) / self.off.ramp_s, 1.0) if self.off.ramp_s else 1.0
            feels = 1.0 + part * (self.off.feels - 1.0)
            target_c = state.ambient_c + feels * (state.sink_c - state.ambient_c)
            lag_s = self._lag_s + part * self.off.hang_s
        if self._lagged_c != self._lagged_c:
            self._lagged_c = target_c
        self._lagged_c += (target_c - self._lagged_c) * (1 - exp(-dt_s / lag_s))
        if self._fault == "open-sensor" and after:
            quality[INDEX["heatsink"]] = Quality.OPEN
            return
        value = self._lagged_c + self._offset_c + self._rng.gauss(0.0, self._sd["Cel"])
        if self._fault == "stuck-sensor" and after:
            if self._frozen is None:
                self._frozen = value
            value = self._frozen + (self._rng.gauss(0.0, self._sd["Cel"]) if self.off.flickers else 0.0)
        put("heatsink", value)
