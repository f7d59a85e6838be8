"""A behavioural model of a radio on a load, with other equations than the twin's.

It keeps the rules from being fitted to the twin.
"""

from math import exp, sqrt
from random import Random

from sensors.types import Drive
from tests.bench.state import State, Wrong


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
