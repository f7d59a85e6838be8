"""The twin's own radio, every parameter drawn at random, for the population of the detection bench."""

from math import sqrt
from random import Random

from sensors.twin.batch import Build, DeviceBuild
from sensors.twin.device import conduct, swing_for
from sensors.twin.faults import Condition
from sensors.twin.model import Radio
from sensors.types import Drive
from tests.bench.state import State, Wrong


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
