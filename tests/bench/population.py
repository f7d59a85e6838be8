"""A population of soaks: units, plans, nuisances and faults, each parameter drawn at random from one seed.

A trial is a recording in event time: the key goes as the plan says whatever the rules say (open loop), so that one
simulation serves both the rules, judged up to their trip as a replay is, and the fixed-limit loop, which trips later.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf, nan, pi, sin
from random import Random

from daemon.plan import Moment
from sensors.types import Drive, Frame
from tests.bench.calibrate import heat_w, per_v
from tests.bench.faults import BEYOND, HARM_JUNCTION_C, HARM_SINK_C, LIMIT_C, MATTERS, NEEDS_PAIR
from tests.bench.many_part_world import ManyPartWorld
from tests.bench.plain_world import PlainWorld
from tests.bench.plans import draw_plan
from tests.bench.sensing import Off, Sensors, log_uniform
from tests.bench.state import State, Wrong
from tests.bench.twin_world import TwinWorld

AnyWorld = TwinWorld | PlainWorld | ManyPartWorld
Kind = type[AnyWorld]
KINDS: tuple[Kind, ...] = (TwinWorld, PlainWorld, ManyPartWorld)
#: whether a fault matters is tried in steps of so many seconds, a runaway for so long, and drawn anew so often
_COARSE_S, _LONG_ENOUGH_S, _ATTEMPTS = 2.0, 4 * 3600.0, 30


@dataclass(frozen=True, slots=True)
class Sample:
    """One instant: what the node sent (None where the pack was lost), and whether harm has been done."""

    at_s: float
    frame: Frame | None
    harmed: bool


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
        plain = isinstance(self.world, PlainWorld)
        self.sensors = Sensors(rng, self.nuisance, fault, self.devices, one_shunt=self.one_shunt, plain=plain)
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
        feels, hang_s = rng.uniform(0.0, 0.3), rng.uniform(3.0, 60.0)
        self.sensors.off = Off(self.onset_s, self._ramp_s, feels, hang_s, rng.random() < 0.2)

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
            frame = self.sensors.sense(state, at_s, sample_s, moment.key, seq)
            lost = i > 1 and self.sensors.loses()
            yield Sample(at_s, None if lost else frame, harmed)
