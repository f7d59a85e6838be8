"""A population of soaks: units, plans, nuisances and faults, each parameter drawn at random from one seed.

A trial is a recording in event time: the key goes as the plan says whatever the rules say (open loop), so that one
simulation serves both the rules, judged up to their trip as a replay is, and the fixed-limit loop, which trips later.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import exp, inf, log, nan, pi, sin
from random import Random
from typing import Any

from daemon.plan import Moment
from sensors.types import CHANNELS, INDEX, UNITS, Drive, Frame, Quality
from tests.bench.calibrate import heat_w, per_v
from tests.bench.faults import BEYOND, HARM_JUNCTION_C, HARM_SINK_C, LIMIT_C, MATTERS, NEEDS_PAIR
from tests.bench.many_part_world import ManyPartWorld
from tests.bench.plain_world import PlainWorld
from tests.bench.plans import draw_plan
from tests.bench.state import State, Wrong
from tests.bench.twin_world import TwinWorld

AnyWorld = TwinWorld | PlainWorld | ManyPartWorld
Kind = type[AnyWorld]
KINDS: tuple[Kind, ...] = (TwinWorld, PlainWorld, ManyPartWorld)
START_NS = 1_764_054_000_000_000_000
#: whether a fault matters is tried in steps of so many seconds, a runaway for so long, and drawn anew so often
_COARSE_S, _LONG_ENOUGH_S, _ATTEMPTS = 2.0, 4 * 3600.0, 30


@dataclass(frozen=True, slots=True)
class Sample:
    """One instant: what the node sent (None where the pack was lost), and whether harm has been done."""

    at_s: float
    frame: Frame | None
    harmed: bool


def log_uniform(rng: Random, low: float, high: float) -> float:
    """Evenly over the logarithm."""
    return exp(rng.uniform(log(low), log(high)))


class Trial:
    """One soak drawn from ``seed``; ``fault`` is a name of ``FAULTS``, or "" for a healthy one."""

    def __init__(self, seed: int, fault: str, kinds: Sequence[Kind] = KINDS) -> None:
        self._kinds = kinds
        self.seed, self.fault = seed, fault
        for attempt in range(_ATTEMPTS):
            self._draw(Random(f"soak {seed} {fault}" + f" {attempt}" * bool(attempt)))
            # a fan that the unit does not need, or a loop that settles, is no fault
            if fault not in MATTERS or self._gets_hot():
                break

    def _draw(self, rng: Random) -> None:
        self.rng, fault = rng, self.fault
        self.nuisance = rng.choice(
            ["", "spikes", "lost", "fan", "door", "hum", "mismatch", "sag", "coarse", "absent", "fan", "spikes"]
        )
        self.devices = rng.choice([1, 2, 2, 2, 2, 4])
        self.one_shunt = rng.random() < 0.15
        if fault in NEEDS_PAIR:
            self.devices, self.one_shunt = rng.choice([2, 2, 4]), False
        self.rate_hz = rng.choice([0.5, 1.0, 1.0, 2.0, 2.0, 2.0, 5.0])
        self.air_c = rng.uniform(14.0, 30.0)
        self.plan, self._duty, self._main_drive = draw_plan(rng, fault)
        self.onset_s = self._onset() if fault else inf
        self._make_world()
        self._make_sensors()
        self._make_fault()

    @property
    def duration_s(self) -> float:
        """How long the plan takes."""
        return self.plan.total_s

    def _onset(self) -> float:
        main_s = self.plan.starts_s[2]
        minutes = self.plan.phase[2].minutes
        late = 0.85 if self.fault in BEYOND else 0.45
        return main_s + 60.0 * self.rng.uniform(min(8.0, 0.2 * minutes), late * minutes)

    def _make_world(self) -> None:
        rng = self.rng
        power_w = rng.uniform(18.0, 32.0)
        tau_s = log_uniform(rng, 400.0, 1500.0)
        if self.fault == "fan-stop":
            # a unit that needs its fan: without it the limit is met before the soak is over
            rise_k, tau_s = rng.uniform(26.0, 36.0), log_uniform(rng, 300.0, 900.0)
        kind = rng.choice(self._kinds)
        world_seed = rng.random()
        heat = self._duty * heat_w(kind(Random(world_seed), self.devices, power_w, 0.01, 1e5), self._main_drive)
        # the hottest settled mean of a sound design; other phases may well be lighter or heavier, but an idle
        # phase is key-down throughout, and no sound design overheats in it
        if self.fault != "fan-stop":
            heat = max(heat, heat_w(kind(Random(world_seed), self.devices, power_w, 0.01, 1e5), Drive.IDLE))
        rise_k = rng.uniform(16.0, max(53.0 - self.air_c, 20.0))
        more_a_per_v = 0.0
        if kind is TwinWorld and self.fault == "runaway":
            more_a_per_v = per_v(world_seed, self.devices, power_w, self._main_drive)

        def new_world() -> AnyWorld:
            world = kind(Random(world_seed), self.devices, power_w, rise_k / heat, tau_s)
            if isinstance(world, TwinWorld) and more_a_per_v:
                world.per_v = more_a_per_v
            world.start(start_c, self.air_c)
            return world

        self._rise_k, self._tau_s = rise_k, tau_s
        self._fan = rng.uniform(1.3, 2.2) if self.nuisance == "fan" else 1.0
        self._fan_on_c = self.air_c + rng.uniform(0.45, 0.8) * rise_k
        self._fan_off_c = self._fan_on_c - rng.uniform(3.0, 6.0)
        self._fan_runs = False
        start_c = self.air_c + (rng.uniform(0, 8) if rng.random() < 0.2 else 0.0)
        self._new_world = new_world
        self.world = new_world()
        self._door = (nan, nan, 0.0)
        if self.nuisance == "door":
            at_s = rng.uniform(0.2, 0.7) * self.duration_s
            self._door = (at_s, at_s + rng.uniform(60.0, 1200.0), rng.uniform(-8.0, 4.0))

    def _make_sensors(self) -> None:
        rng, nuisance = self.rng, self.nuisance
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
            off = 0.045 if self.devices <= 2 else 0.03
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
        if self.fault == "dry-pad" and not isinstance(self.world, PlainWorld):
            # a device near its zero temperature coefficient shows a dry pad by its case alone
            self._has.add("case")
        if self.fault == "bad-load":
            self._has.add("reflected")
        self._lagged_c = nan
        self._frozen: float | None = None

    def _make_fault(self) -> None:
        rng = self.rng
        self._device = rng.randrange(self.devices)
        self._ramp_s = rng.choice([0.0, rng.uniform(10.0, 120.0)])
        self._per_min_a = log_uniform(rng, 0.008, 0.04) * (1.0 if self.devices <= 2 else 0.5)
        if self.devices == 1:
            self._per_min_a *= 2
        self._gain_over = (1.0 + self._tau_s / rng.uniform(400.0, 1200.0)) / self._duty
        self._pad = rng.uniform(6.0, 14.0)
        hot_c = rng.uniform(92.0, 125.0)
        self._stopped = max((hot_c - self.air_c) / self._rise_k, 1.5)
        self._db_per_min = log_uniform(rng, 0.03, 0.2)
        self._gamma = rng.uniform(0.4, 0.7)
        self._emf_v, self._ohm = rng.uniform(0.8, 1.6), rng.uniform(0.1, 0.3)
        self._short_ohm = rng.uniform(0.8, 2.2)
        self._feels, self._hang_s = rng.uniform(0.0, 0.3), rng.uniform(3.0, 60.0)
        self._stuck_noise = rng.random() < 0.2

    def _gets_hot(self) -> bool:
        """Whether the limit is met: without a fan before the soak is over, in a runaway if only it were long enough."""
        world, main = self._new_world(), self.plan.phase[2]
        main_s = self.plan.starts_s[2]
        until_s, at_s = self.duration_s, 0.0
        if self.fault == "runaway":
            until_s = self.onset_s + _LONG_ENOUGH_S
        try:
            while at_s < until_s:
                plan_s = at_s
                if self.fault == "runaway" and at_s > main_s:
                    # as if the main phase had no end
                    cycle_s = (main.on_s or 0.0) + (main.off_s or 0.0) or 60.0
                    plan_s = main_s + (at_s - main_s) % cycle_s
                state, _ = self._move(world, at_s, _COARSE_S, self.plan.at(plan_s), self.air_c)
                if state.sink_c > LIMIT_C:
                    return True
                at_s += _COARSE_S
        finally:
            self._fan_runs = False
        return False

    def _move(self, world: AnyWorld, at_s: float, dt_s: float, moment: Moment, air_c: float) -> tuple[State, Wrong]:
        """The world, with what is wrong with it at this time, and its thermostatic fan."""
        wrong = self.wrong(at_s)
        state = world.step(dt_s, moment.key, moment.drive, air_c, wrong)
        if self._fan > 1.0:
            if state.sink_c > self._fan_on_c:
                self._fan_runs = True
            elif state.sink_c < self._fan_off_c:
                self._fan_runs = False
        return state, wrong

    def wrong(self, at_s: float) -> Wrong:  # noqa: PLR0912  one line a fault
        """The unit's condition at this time."""
        on = Wrong()
        on.sink = self._fan if not self._fan_runs else 1.0
        since_s = at_s - self.onset_s
        if since_s < 0.0:
            return on
        full = min(since_s / self._ramp_s, 1.0) if self._ramp_s else 1.0
        match self.fault:
            case "runaway":
                on.runaway = self._gain_over * full
            case "fan-stop":
                on.sink = max(on.sink, 1.0) if self._fan > 1.0 and not self._fan_runs else 1.0
                on.sink = 1.0 + full * (self._stopped - 1.0)
            case "creep-both":
                on.creep_a = [self._per_min_a * since_s / 60.0] * 4
            case "creep-one":
                on.creep_a[self._device] = self._per_min_a * since_s / 60.0
            case "fading-driver":
                on.fade_db = self._db_per_min * since_s / 60.0
            case "dry-pad":
                on.pad[self._device] = 1.0 + full * (self._pad - 1.0)
            case "open-device":
                on.opened = self._device
            case "shorted-device":
                on.shorted, on.short_ohm = self._device, self._short_ohm
            case "bad-load":
                on.gamma = self._gamma * full
            case "sagging-supply":
                on.emf_v, on.source_ohm = self._emf_v * full, self._ohm * full
            case "stuck-key":
                on.stuck_key = True
            case _:
                pass
        return on

    def samples(self) -> Iterator[Sample]:
        """The soak, instant by instant."""
        rng, sample_s = self.rng, 1.0 / self.rate_hz
        at_s, i, harmed, seq = 0.0, 0, False, 0
        end_s = self.duration_s
        while at_s < end_s:
            at_s = i * sample_s + (0.05 * sample_s * rng.uniform(-1.0, 1.0) if i else 0.0)
            i += 1
            moment = self.plan.at(at_s)
            air_c = self.air_c + 0.6 * sin(2 * pi * at_s / 5400.0)
            if self._door[0] <= at_s <= self._door[1]:
                air_c += self._door[2]
            state, wrong = self._move(self.world, at_s, sample_s, moment, air_c)
            hottest_c = max([c for k, c in enumerate(state.junction_c) if k != wrong.shorted], default=0.0)
            harmed = harmed or state.sink_c > HARM_SINK_C or hottest_c > HARM_JUNCTION_C
            seq += 1
            frame = self._sense(state, at_s, sample_s, moment.key, seq)
            # two packs on end at the most: what lasts for three sample times is a lost link by its definition
            lost = i > 1 and self._lost_on_end < 2 and rng.random() < self._lost
            self._lost_on_end = self._lost_on_end + 1 if lost else 0
            yield Sample(at_s, None if lost else frame, harmed)

    def _sense(self, state: State, at_s: float, dt_s: float, key: bool, seq: int) -> Frame:
        rng = self.rng
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
        if self.one_shunt:
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
        after = at_s >= self.onset_s
        target_c, lag_s = state.sink_c, self._lag_s
        if self.fault == "detached" and after:
            part = min((at_s - self.onset_s) / self._ramp_s, 1.0) if self._ramp_s else 1.0
            feels = 1.0 + part * (self._feels - 1.0)
            target_c = state.ambient_c + feels * (state.sink_c - state.ambient_c)
            lag_s = self._lag_s + part * self._hang_s
        if self._lagged_c != self._lagged_c:
            self._lagged_c = target_c
        self._lagged_c += (target_c - self._lagged_c) * (1 - exp(-dt_s / lag_s))
        if self.fault == "open-sensor" and after:
            quality[INDEX["heatsink"]] = Quality.OPEN
            return
        value = self._lagged_c + self._offset_c + self.rng.gauss(0.0, self._sd["Cel"])
        if self.fault == "stuck-sensor" and after:
            if self._frozen is None:
                self._frozen = value
            value = self._frozen + (self.rng.gauss(0.0, self._sd["Cel"]) if self._stuck_noise else 0.0)
        put("heatsink", value)
