"""A radio of many parts on a load, with other equations than the twin's and than the plain world's.

Devices that conduct below their threshold too, averaged over the drive's cycle; a power control in some of them; heat
that goes through pads, spreader, base and fins into free convection and radiation, and into a chassis that gives it
back. Parameters and equations are invented, but for the forms: the smooth law of a MOSFET from weak to strong inversion
(Enz, Krummenacher and Vittoz 1995), convection with the rise to the power 5/4, radiation after Stefan and Boltzmann.
From memory all three.
"""

from math import cos, exp, log1p, log10, pi, sqrt
from random import Random

from sensors.types import Drive
from tests.bench.state import State, Wrong

#: the drive's cycle, at the middles of its equal parts (half of it: it is symmetrical)
_COSINES = tuple(cos(pi * (k + 0.5) / 6) for k in range(6))
_BOLTZMANN_V_PER_K = 8.617e-5
_STEP_S = 0.5
#: root mean square of speech, as a part of the full drive
_SPOKEN = 0.6


class ManyPartWorld:
    """Weak-inversion devices under a sine drive, on a heatsink of five parts and a chassis."""

    def __init__(self, rng: Random, devices: int, power_w: float, sink_rise_w_to_k: float, tau_s: float) -> None:
        self._rng = Random(rng.random())
        n = self.devices = devices
        self._power_w = power_w
        self._emf_v, self._ohm = rng.uniform(13.4, 14.2), rng.uniform(0.02, 0.1)
        self._other_a = rng.choice([0.0, rng.uniform(0.1, 0.5)])
        self._slope = rng.uniform(1.3, 1.7)
        self._mobility = rng.uniform(1.2, 1.8)
        self._threshold_per_k = rng.uniform(0.0018, 0.0032)
        self._compensated = self._threshold_per_k * rng.uniform(0.6, 1.02)
        strength = rng.uniform(3.0, 9.0) / n
        skew = rng.uniform(-0.02, 0.02) if n > 1 else 0.0
        self._strength = [strength * (1 + (skew if i % 2 else -skew)) * rng.uniform(0.985, 1.015) for i in range(n)]
        idle_a = rng.uniform(0.12, 0.4) * max(n, 2) / n
        self._gate_v = [self._gate_for(i, idle_a * rng.uniform(0.97, 1.03)) for i in range(n)]
        self._bias_v = rng.uniform(2.0, 4.0)
        # the drive that gives the power, by halving; and what the output makes of the currents
        efficiency = rng.uniform(0.45, 0.6)
        self._full_a = power_w / efficiency / self._emf_v
        low, high = 0.0, 20.0
        for _ in range(40):
            middle = 0.5 * (low + high)
            mean_a = sum(self._driven(i, self._gate_v[i], middle, 40.0)[0] for i in range(n))
            low, high = (middle, high) if mean_a < self._full_a else (low, middle)
        self._swing_v = low
        wave_a = sum(self._driven(i, self._gate_v[i], low, 40.0)[1] for i in range(n))
        self._ohms = power_w / wave_a**2
        self._ceiling_w = power_w * rng.uniform(1.15, 1.6)
        self._controlled = rng.random() < 0.4
        self._control = 1.0
        # and a drive that makes up for what the devices lose, so that it sags by 0.35 dB at the most once it is warm
        warm_a = sum(self._driven(i, self._gate_v[i], low, 90.0)[1] for i in range(n))
        cold_a = sum(self._driven(i, self._gate_v[i], low, 60.0)[1] for i in range(n))
        self._hot_db_per_k = (rng.uniform(0.0, 0.35) - 20.0 * log10(cold_a / warm_a)) / 30.0
        # of the heat, a part leaves by the chassis; both ways together are the resistance that was asked for
        aside = rng.uniform(0.05, 0.25)
        self._rises = sink_rise_w_to_k
        self._sink_r, chassis = sink_rise_w_to_k / (1.0 - aside), sink_rise_w_to_k / aside
        capacity = tau_s / sink_rise_w_to_k
        self._spreader_j = rng.uniform(30.0, 120.0)
        self._base_j, self._fins_j = 0.4 * capacity, 0.6 * capacity
        self._chassis_j = capacity * rng.uniform(0.1, 0.6)
        self._to_base, self._to_fins = rng.uniform(0.04, 0.2), self._sink_r * rng.uniform(0.03, 0.15)
        self._sink_r -= self._to_fins
        self._to_chassis = chassis * rng.uniform(0.2, 0.5)
        self._chassis_r = chassis - self._to_chassis
        self._radiates = rng.uniform(0.05, 0.35)
        self._pad_r, self._junction_r = rng.uniform(0.3, 0.8) * n / 2, rng.uniform(0.7, 1.6) * n / 2
        self._pad_j = rng.uniform(15.0, 60.0) / self._pad_r
        self._seen_base = rng.uniform(0.0, 1.0)  # where the sensor sits: at the base, or out in the fins
        self._gamma = rng.uniform(0.0, 0.08)
        self._load_r, self._load_s = rng.uniform(0.8, 1.6), rng.uniform(600.0, 1800.0)
        self._word, self._word_s = 0.0, 0.0
        self._meter_s = rng.choice([0.0, rng.uniform(0.05, 0.35)])  # the power meter is slower than the ammeters
        self._meter_w = 0.0
        self._latched = False
        self._onset_c: float | None = None
        self._felt = self._felt_w = 0.0
        self.spreader_c = self.base_c = self.fins_c = self.chassis_c = self.load_c = 22.0
        self.pad_k = [0.0] * n
        self._heat_w = [0.0] * n

    def start(self, sink_c: float, air_c: float) -> None:
        """Begin at these temperatures."""
        self.spreader_c = self.base_c = self.fins_c = self.chassis_c = sink_c
        self.load_c = air_c

    def _current(self, i: int, gate_v: float, hot_c: float) -> float:
        unit_v = 2.0 * self._slope * _BOLTZMANN_V_PER_K * (hot_c + 273.15)
        x = (gate_v + (self._threshold_per_k - self._compensated) * (hot_c - 25.0)) / unit_v
        y = x if x > 30.0 else log1p(exp(x)) if x > -30.0 else 0.0
        weaker: float = ((hot_c + 273.15) / 298.15) ** -self._mobility
        return self._strength[i] * weaker * (unit_v * y) ** 2

    def _gate_for(self, i: int, idle_a: float) -> float:
        low, high = -1.0, 2.0
        for _ in range(40):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self._current(i, middle, 25.0) < idle_a else (low, middle)
        return low

    def _driven(self, i: int, gate_v: float, swing_v: float, hot_c: float) -> tuple[float, float]:
        """Mean current and the amplitude of its fundamental, A."""
        if swing_v <= 0.0:
            return self._current(i, gate_v, hot_c), 0.0
        mean_a = wave_a = 0.0
        for c in _COSINES:
            a = self._current(i, gate_v + swing_v * c, hot_c)
            mean_a += a
            wave_a += a * c
        return mean_a / len(_COSINES), 2.0 * wave_a / len(_COSINES)

    def _speech(self, dt_s: float) -> float:
        """The level of power: words of a quarter of a second or so, and pauses."""
        self._word_s -= dt_s
        if self._word_s <= 0.0:
            silent = self._rng.random() < 0.25
            self._word = 0.002 if silent else min(self._rng.lognormvariate(-1.3, 0.8), 1.0)
            self._word_s = self._rng.uniform(0.3, 1.5) if silent else self._rng.uniform(0.15, 0.5)
        return self._word

    def _hot_c(self, i: int) -> float:
        return self.spreader_c + self.pad_k[i] + self._junction_r * self._heat_w[i]

    def _gates(self, wrong: Wrong) -> list[float]:
        drift_v = 0.0
        if self._onset_c is not None:
            drift_v = wrong.runaway * (self.base_c - self._onset_c) / (self._rises * self._felt_w)
        a_per_v = self._felt / self.devices
        creeps_v = [creep_a / a_per_v if a_per_v else 0.0 for creep_a in wrong.creep_a]
        return [v + drift_v + creep_v for v, creep_v in zip(self._gate_v, creeps_v, strict=False)]

    def _all_driven(self, more_v: float, swing_v: float) -> tuple[float, float]:
        both = [self._driven(i, v + more_v, swing_v, self._hot_c(i)) for i, v in enumerate(self._gate_v)]
        return sum(a for a, _ in both), sum(wave for _, wave in both)

    def _feel(self, swing_v: float) -> tuple[float, float]:
        """What a volt at the gates adds in this drive, of current, A/V, and of heat, W/V.

        Of the current, what a power control takes back is taken off: a creep is to matter in its drive. And what leaves
        as power heats nothing: the loop gain of a runaway is R·dP/dT with the dissipation P, of which V·R·dI/dT is the
        case that nothing leaves.
        """
        more_v = 0.02
        now_a, wave_a = self._all_driven(0.0, swing_v)
        free_a, free_wave_a = self._all_driven(more_v, swing_v)
        held_v = swing_v
        if self._controlled and swing_v:
            low, high = 0.5 * swing_v, swing_v
            for _ in range(30):
                held_v = 0.5 * (low + high)
                low, high = (held_v, high) if self._all_driven(more_v, held_v)[1] < wave_a else (low, held_v)
        held_a = self._all_driven(more_v, held_v)[0]
        heat_w = self._emf_v * (free_a - now_a) - self._ohms * (free_wave_a**2 - wave_a**2)
        return (held_a - now_a) / more_v, max(heat_w, 0.2 * self._emf_v * (free_a - now_a)) / more_v

    def step(self, dt_s: float, key: bool, drive: Drive, air_c: float, wrong: Wrong) -> State:
        n = self.devices
        keyed = key or (wrong.stuck_key and self._latched)
        self._latched = keyed
        driven = keyed and drive not in (Drive.OFF, Drive.IDLE)
        level = 1.0
        if drive is Drive.MODULATED:
            level = self._speech(dt_s)
        elif drive is Drive.TWO_TONE:
            level = 0.5
        swing_v = self._swing_v * sqrt(level) * self._control if driven else 0.0
        if keyed and not self._felt and (wrong.runaway or any(wrong.creep_a)):
            felt = self._feel(_SPOKEN * self._swing_v if drive is Drive.MODULATED else swing_v)
            self._felt, self._felt_w = felt
        if wrong.runaway and self._felt and self._onset_c is None:
            # the bias begins to follow the heatsink
            self._onset_c = self.base_c - self._rng.uniform(0.0, 0.7)
        gates = self._gates(wrong)
        drains, wave_a = [0.0] * n, 0.0
        supply_v = self._emf_v - wrong.emf_v
        for i in range(n):
            if keyed and i != wrong.opened:
                drains[i], one_a = self._driven(i, gates[i], swing_v, self._hot_c(i))
                wave_a += one_a
        fade = 10 ** (-(wrong.fade_db + self._hot_db_per_k * (self.base_c - 25.0)) / 10)
        forward_w = self._ohms * wave_a**2 * fade if driven else 0.0
        source_ohm = self._ohm + wrong.source_ohm
        if wrong.shorted >= 0:
            drains[wrong.shorted] += (supply_v - source_ohm * sum(drains)) / (wrong.short_ohm + source_ohm)
        total_a = sum(drains)
        supply_v = max(supply_v - source_ohm * (total_a + self._other_a), 1.0)
        ceiling_w = self._ceiling_w * (supply_v / self._emf_v) ** 2
        forward_w = forward_w / (1.0 + (forward_w / ceiling_w) ** 3) ** (1 / 3)
        if driven and self._controlled and level >= 0.1:
            # its power control holds the power of before, as far as it reaches
            target_w = self._power_w * level / 10 ** (wrong.fade_db / 10)
            follow = 1.0 - exp(-dt_s / 1.0)
            self._control *= 1.0 + 0.5 * follow * (sqrt(target_w / max(forward_w, 1e-3)) - 1.0)
            self._control = min(max(self._control, 0.8), 1.15)
        gamma = min(self._gamma + wrong.gamma, 0.97)
        lost_w = max(supply_v * total_a - forward_w * (1.0 - gamma * gamma), 0.0)
        self._heat_w = [lost_w * a / total_a if total_a > 0.0 else 0.0 for a in drains]
        self._warm(dt_s, air_c, wrong)
        end_c = air_c + self._load_r * forward_w * (1.0 - gamma * gamma)
        self.load_c = end_c + (self.load_c - end_c) * exp(-dt_s / self._load_s)
        keep = exp(-dt_s / self._meter_s) if self._meter_s else 0.0
        self._meter_w = forward_w + (self._meter_w - forward_w) * keep
        peak_w = forward_w / level if driven else 0.0
        return State(
            self._seen_base * self.base_c + (1.0 - self._seen_base) * self.fins_c,
            air_c,
            self.load_c,
            [self.spreader_c + k for k in self.pad_k],
            [self._hot_c(i) for i in range(n)],
            drains,
            [self._bias_v + g - v if keyed else 0.0 for g, v in zip(gates, self._gate_v, strict=True)],
            supply_v,
            self._meter_w,
            peak_w,
            self._meter_w * gamma * gamma,
        )

    def _warm(self, dt_s: float, air_c: float, wrong: Wrong) -> None:
        worse = wrong.sink**1.25  # the rise is so many times as high, and convection grows with it
        parts = int(dt_s / _STEP_S) + 1
        h = dt_s / parts
        for _ in range(parts):
            for i, watt in enumerate(self._heat_w):
                resistance = self._pad_r * wrong.pad[i]
                end_k = resistance * watt
                self.pad_k[i] = end_k + (self.pad_k[i] - end_k) * exp(-h / (resistance * self._pad_j))
            to_base = (self.spreader_c - self.base_c) / self._to_base
            to_fins = (self.base_c - self.fins_c) / self._to_fins
            to_chassis = (self.base_c - self.chassis_c) / self._to_chassis
            self.spreader_c += h * (sum(self._heat_w) - to_base) / self._spreader_j
            self.base_c += h * (to_base - to_fins - to_chassis) / self._base_j
            self.fins_c += h * (to_fins - self._given_off(self.fins_c, air_c, self._sink_r * worse)) / self._fins_j
            self.chassis_c += (
                h * (to_chassis - self._given_off(self.chassis_c, air_c, self._chassis_r * worse)) / self._chassis_j
            )

    def _given_off(self, hot_c: float, air_c: float, k_per_w: float) -> float:
        """To the air, W: of resistance ``k_per_w`` at 30 K over air of 22 °C."""
        over_k = hot_c - air_c
        convected: float = over_k * (abs(over_k) / 30.0) ** 0.25
        radiated: float = ((hot_c + 273.15) ** 4 - (air_c + 273.15) ** 4) / (325.15**4 - 295.15**4) * 30.0
        return (convected * (1.0 - self._radiates) + radiated * self._radiates) / k_per_w
