"""Two models of a radio on a load, with different equations, for the population of the detection bench.

``TwinWorld`` is the twin's own radio, every parameter drawn at random. ``PlainWorld`` is a behavioural model with other
equations: it keeps the rules from being fitted to the twin.
"""

from dataclasses import dataclass, field
from math import exp, sqrt
from random import Random
from typing import Protocol

from sensors.twin.batch import Build, DeviceBuild
from sensors.twin.device import conduct, swing_for
from sensors.twin.faults import Condition
from sensors.twin.model import Radio
from sensors.types import Drive


@dataclass(slots=True)
class State:
    """What a world is like at one instant, before any sensor."""

    sink_c: float
    ambient_c: float
    load_c: float
    case_c: list[float]
    junction_c: list[float]
    drain_a: list[float]
    bias_v: list[float]
    supply_v: float
    forward_w: float
    peak_w: float
    reflected_w: float


@dataclass(slots=True)
class Wrong:
    """What is wrong with a unit at one instant, in terms that both worlds understand; strengths 0 .. 1 and beyond."""

    creep_a: list[float] = field(default_factory=lambda: [0.0] * 4)  # added idle current of each device
    runaway: float = 0.0  # loop gain that the bias adds
    pad: list[float] = field(default_factory=lambda: [1.0] * 4)  # times case-to-heatsink resistance
    sink: float = 1.0  # times heatsink-to-air resistance
    fade_db: float = 0.0
    gamma: float = 0.0
    emf_v: float = 0.0
    source_ohm: float = 0.0
    opened: int = -1
    shorted: int = -1
    short_ohm: float = 1.5
    stuck_key: bool = False


class World(Protocol):
    """One unit; ``step`` moves it on and gives its state."""

    devices: int

    def step(self, dt_s: float, key: bool, drive: Drive, air_c: float, wrong: Wrong) -> State:
        """Move on."""


class TwinWorld:
    """The twin's radio (square-law devices, junction, case, heatsink) with a build drawn at random."""

    def __init__(self, rng: Random, devices: int, power_w: float, sink_rise_w_to_k: float, tau_s: float) -> None:
        self.devices = devices
        n = devices
        idle_a = rng.uniform(0.15, 0.35) * max(n, 2)
        k_total = rng.uniform(3.0, 8.0)
        skew = rng.uniform(-0.02, 0.02) if n > 1 else 0.0
        supply_v = rng.uniform(13.3, 14.3)
        threshold_per_k = rng.uniform(0.003, 0.005)
        built = []
        junction_r, case_r = rng.uniform(0.8, 1.8) * n / 2, rng.uniform(0.25, 0.7) * n / 2
        for i in range(n):
            share = 1.0 + (skew if i % 2 else -skew)
            k = k_total / n * rng.uniform(0.985, 1.015) * share
            threshold_v = rng.uniform(2.4, 3.4)
            one_a = idle_a / n * rng.uniform(0.98, 1.02) * share
            junction = junction_r * rng.uniform(0.94, 1.06)
            case = case_r * rng.uniform(0.9, 1.1)
            built.append(
                DeviceBuild(
                    k,
                    threshold_v,
                    threshold_per_k * rng.uniform(0.97, 1.03),
                    threshold_v + sqrt(one_a / k),
                    junction,
                    rng.uniform(0.2, 0.5) / junction,
                    case,
                    rng.uniform(2.0, 6.0) / case,
                )
            )
        self.per_v = 2.0 * sqrt(idle_a * k_total)  # A of idle current per volt of bias
        self.shift_v = 0.0
        total_a = power_w / (rng.uniform(0.48, 0.60) * supply_v)
        swing_v = swing_for(k_total, sqrt(idle_a / k_total), total_a)
        first_a = sum(conduct(d.k_a_per_v2, d.bias_v - d.threshold_v, swing_v)[1] for d in built)
        load = rng.uniform(0.8, 1.6)
        self._sink = sink_rise_w_to_k
        self.build = Build(
            devices=tuple(built),
            compensation_per_k=threshold_per_k * rng.uniform(0.7, 1.05),
            swing_v=swing_v,
            watt_per_a2=power_w / first_a**2,
            power_w=power_w,
            power_per_k=-rng.uniform(0.0, 0.0022),
            supply_v=supply_v,
            source_ohm=rng.uniform(0.02, 0.10),
            sink_k_per_w=sink_rise_w_to_k,
            sink_j_per_k=tau_s / sink_rise_w_to_k,
            ambient_c=22.0,
            gamma=rng.uniform(0.0, 0.08),
            load_k_per_w=load,
            load_j_per_k=rng.uniform(600.0, 1800.0) / load,
            sensor_tau_s=6.0,
            drain_gain=(1.0,) * n,
            power_gain=1.0,
            heatsink_offset_c=0.0,
        )
        self.radio = Radio(self.build)
        self._onset_c: float | None = None
        self._near_k = rng.uniform(0.0, 2.0)

    def start(self, sink_c: float, air_c: float) -> None:
        """Begin at these temperatures."""
        radio = self.radio
        radio.ambient_c = radio.load_c = air_c
        radio.sink_c = sink_c
        radio.junction_c = [sink_c] * self.devices
        radio.case_c = [sink_c] * self.devices

    def step(self, dt_s: float, key: bool, drive: Drive, air_c: float, wrong: Wrong) -> State:
        radio, build = self.radio, self.build
        on = Condition()
        for i in range(self.devices):
            d = build.devices[i]
            per_v = 2.0 * d.k_a_per_v2 * max(d.bias_v - d.threshold_v, 0.05)
            on.threshold_v[i] = -wrong.creep_a[i] / per_v
            on.case_factor[i] = wrong.pad[i]
        # loop gain that the bias adds: V·R·dI/dT with dI/dT = per_v·slope
        on.bias_per_k = wrong.runaway / (build.supply_v * self._sink * self.per_v)
        on.bias_v = self.shift_v
        if wrong.runaway and self._onset_c is None:
            # the bias begins to follow the heatsink the wrong way from here, not with a jump
            self._onset_c = radio.sink_c - self._near_k
        if self._onset_c is not None:
            for i in range(self.devices):
                on.threshold_v[i] += on.bias_per_k * (self._onset_c - 25.0)
        on.sink_factor = wrong.sink
        on.driver_db = wrong.fade_db
        on.gamma = wrong.gamma
        on.emf_v = -wrong.emf_v
        on.source_ohm = wrong.source_ohm
        if wrong.opened >= 0:
            on.opened[wrong.opened] = True
        if wrong.shorted >= 0:
            on.short_s[wrong.shorted] = 1.0 / wrong.short_ohm
        on.key_stuck = wrong.stuck_key
        radio.condition = on
        radio.key, radio.drive, radio.ambient_c = key, drive, air_c
        radio.step(dt_s)
        return State(
            radio.sink_c,
            air_c,
            radio.load_c,
            list(radio.case_c),
            list(radio.junction_c),
            list(radio.drain_a),
            list(radio.bias_v),
            radio.supply_v,
            radio.forward_w,
            radio.peak_w,
            radio.reflected_w,
        )


class PlainWorld:
    """Behavioural: currents as root of squares, a sag that follows keyed time, convection that grows with heat."""

    def __init__(self, rng: Random, devices: int, power_w: float, sink_rise_w_to_k: float, tau_s: float) -> None:
        self._rng = Random(rng.random())
        n = self.devices = devices
        self._power_w = power_w
        self._emf_v = rng.uniform(13.4, 14.2)
        self._ohm = rng.uniform(0.03, 0.12)
        self._other_a = rng.choice([0.0, rng.uniform(0.1, 0.6)])  # the rest of the radio, on the same supply
        skew = rng.uniform(-0.02, 0.02)
        self._share = [(1 + (skew if i % 2 else -skew)) * rng.uniform(0.985, 1.015) for i in range(n)]
        idle_a = rng.uniform(0.15, 0.4) * max(n, 2)
        self._idle_a = [idle_a / n * s * rng.uniform(0.97, 1.03) for s in self._share]
        self._per_k = [rng.uniform(-0.0015, 0.004) + rng.uniform(-2e-4, 2e-4) for _ in range(n)]
        self._drive_per_k = [rng.uniform(-0.0003, 0.0003) for _ in range(n)]
        self._hot_per_k = rng.uniform(0.004, 0.010)  # how a device's own heat moves its current once its pad is dry
        efficiency = rng.uniform(0.45, 0.62)
        self._full_a = power_w / efficiency / self._emf_v
        self._sag_db, self._sag_s = rng.uniform(0.0, 0.35), rng.uniform(120.0, 700.0)
        self._sag = 0.0
        self._volt_power = rng.uniform(0.5, 2.0)
        self._r = sink_rise_w_to_k
        self._c = tau_s / sink_rise_w_to_k
        self._near_c_j, self._near_r = rng.uniform(20.0, 90.0), rng.uniform(0.05, 0.25)
        self._convection = rng.uniform(0.0, 0.25)
        self._pad_r = rng.uniform(0.3, 0.7) * n / 2
        self._pad_j = rng.uniform(20.0, 60.0) / self._pad_r
        self._junction_r = rng.uniform(0.8, 1.6) * n / 2
        self._gamma = rng.uniform(0.0, 0.08)
        self._load_r, self._load_s = rng.uniform(0.8, 1.6), rng.uniform(600.0, 1800.0)
        self._voice = 0.0
        self._bias_v = rng.uniform(2.0, 4.0)
        self._latched = False
        self._fade_w = 1.0
        self._onset_c: float | None = None
        self.sink_c = self.near_c = self.load_c = 22.0
        self.pad_c = [0.0] * n  # each device's rise over the near node

    def start(self, sink_c: float, air_c: float) -> None:
        """Begin at these temperatures."""
        self.sink_c = self.near_c = sink_c
        self.load_c = air_c

    def step(self, dt_s: float, key: bool, drive: Drive, air_c: float, wrong: Wrong) -> State:
        n, rng = self.devices, self._rng
        keyed = key or (wrong.stuck_key and self._latched)
        self._latched = keyed
        driven = keyed and drive not in (Drive.OFF, Drive.IDLE)
        if drive is Drive.MODULATED:
            # speech: bursts with pauses, about a second long
            keep = exp(-dt_s / 0.8)
            self._voice = self._voice * keep + sqrt(1 - keep * keep) * rng.gauss(0.0, 1.0)
            level = min(max(0.25 * exp(0.9 * self._voice), 0.01), 1.0)
        else:
            level = 0.5 if drive is Drive.TWO_TONE else 1.0
        self._sag += ((1.0 if driven else 0.0) - self._sag) * (1 - exp(-dt_s / self._sag_s))
        heat_k = [self.near_c + p - 25.0 for p in self.pad_c]
        if wrong.runaway and self._onset_c is None:
            self._onset_c = self.near_c - rng.uniform(0.0, 2.0)
        drains, total_a = [0.0] * n, 0.0
        forward_w = 0.0
        supply_v = self._emf_v - wrong.emf_v
        if driven:
            forward_w = self._power_w * level * 10 ** (-(self._sag_db * self._sag + wrong.fade_db) / 10)
        for _ in range(2):  # supply, power and current depend on each other
            ratio = max(supply_v / (self._emf_v - self._ohm * self._full_a), 0.0)
            watt = forward_w * min(ratio, 1.02) ** self._volt_power
            total_a = 0.0
            for i in range(n):
                a = 0.0
                if keyed and i != wrong.opened:
                    idle = self._idle_a[i] * (1 + self._per_k[i] * heat_k[i]) + wrong.creep_a[i]
                    if wrong.runaway and self._onset_c is not None:
                        gain = wrong.runaway / (13.8 * self._r * n)
                        idle += gain * (self.near_c - self._onset_c)
                    extra_k = self.pad_c[i] * (1 - 1 / wrong.pad[i])
                    swing = self._full_a / n * self._share[i] * sqrt(watt / self._power_w) if driven else 0.0
                    swing *= 1 + self._drive_per_k[i] * heat_k[i]
                    idle = max(idle, 0.01)
                    a = sqrt(idle * idle * 0.5 + swing * swing) if driven else idle
                    if driven:
                        a += 0.7 * (idle - self._idle_a[i])
                    a *= 1 + self._hot_per_k * extra_k
                if i == wrong.shorted:
                    a += supply_v / wrong.short_ohm
                drains[i] = max(a, 0.0)
                total_a += drains[i]
            if driven and wrong.opened >= 0:
                forward_w = self._power_w * level * ((n - 1) / n) ** 1.5 if n > 1 else 0.0
            supply_v = max(self._emf_v - wrong.emf_v - (self._ohm + wrong.source_ohm) * (total_a + self._other_a), 1.0)
            forward_watt = watt
        gamma = min(self._gamma + wrong.gamma, 0.97)
        forward_w = forward_watt if driven else 0.0
        reflected_w = forward_w * gamma * gamma
        heat_w = supply_v * total_a - forward_w + reflected_w
        self._warm(dt_s, heat_w, drains, air_c=air_c, wrong=wrong)
        end_c = air_c + self._load_r * (forward_w - reflected_w)
        self.load_c = end_c + (self.load_c - end_c) * exp(-dt_s / self._load_s)
        junction = [
            self.near_c + p + self._junction_r * heat_w * a / total_a if total_a > 0 else self.near_c
            for p, a in zip(self.pad_c, drains, strict=True)
        ]
        bias = [self._bias_v + 0.05 * wrong.creep_a[i] / max(self._idle_a[i], 0.05) if keyed else 0.0 for i in range(n)]
        return State(
            self.sink_c * 0.6 + self.near_c * 0.4,
            air_c,
            self.load_c,
            [self.near_c + p for p in self.pad_c],
            junction,
            drains,
            bias,
            supply_v,
            forward_w,
            forward_w / level if driven else 0.0,
            reflected_w,
        )

    def _warm(self, dt_s: float, heat_w: float, drains: list[float], *, air_c: float, wrong: Wrong) -> None:
        total_a = sum(drains)
        parts = int(dt_s / 0.5) + 1
        h = dt_s / parts
        for _ in range(parts):
            for i, a in enumerate(drains):
                resistance = self._pad_r * wrong.pad[i]
                end = resistance * (heat_w * a / total_a if total_a > 0 else 0.0)
                self.pad_c[i] = end + (self.pad_c[i] - end) * exp(-h / (resistance * self._pad_j))
            flow = (self.near_c - self.sink_c) / self._near_r
            over = self.sink_c - air_c
            r = (
                self._r
                * wrong.sink
                / (1 + self._convection * (max(over, 0.0) / 30.0) ** 0.5)
                * (1 + 0.6 * self._convection)
            )
            self.near_c += h * (heat_w - flow) / self._near_c_j
            self.sink_c += h * (flow - over / r) / self._c
