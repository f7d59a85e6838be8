"""What several rules of one bay go by: the heat balance, the cooling, and means of a few seconds in a steady state.

Fed once a frame by the Judge; everything here is constant memory and constant time a frame.
"""

from itertools import pairwise
from math import exp, isfinite, nan, sqrt
from typing import NamedTuple

from alerts.cycle import Cycle
from alerts.estimators.own_history import OwnHistory
from alerts.estimators.slope import Line
from alerts.estimators.source import SourceResistance
from alerts.estimators.steps import Steps
from alerts.heatsink import Heatsink
from alerts.keyed import Drains, Keyed, State, forward_w, rest_a
from alerts.limits import Limits
from alerts.loudness import Loudness
from alerts.pauses import Pauses
from alerts.types import Situation
from sensors.types import AMBIENT, BIASES, HEATSINK, REFLECTED, SUPPLY, Drive, Frame

#: the least length of a block of steady samples: long enough to average hum and noise, short beside any thermal time
BLOCK_S, BLOCK_SAMPLES = 5.0, 4
#: pauses of speech are read from so many settling times after the key's edge on
_SETTLES = 2.0
_UNDRIVEN = frozenset({Drive.OFF, Drive.IDLE})
_SPOKEN = frozenset({State.IDLE, State.DRIVEN})
#: idle phases tell a temperature coefficient where their temperatures lie so far apart (standard deviation, K) and the
#: line through them is so sure (of the current, a kelvin); common practice, no source
IDLE_APART_K, IDLE_SURE = 3.0, 0.001
#: a dissipation beyond this is no radio's: such a frame tells nothing
_MOST_W = 10_000.0


class Block(NamedTuple):
    """Robust means over a few seconds of one steady state; nan where nothing was measured. Units as in a Frame."""

    clock_s: float
    seconds: float
    state: State
    drive: Drive
    keyed_s: float  # since the key went down
    heatsink_c: float
    supply_v: float
    forward_w: float
    currents_a: tuple[float, ...]
    bias_v: tuple[float, ...]
    dissipation_w: float
    root_w: float  # mean of the root of the forward power
    noise_a: float  # standard error of the mean of the total current, by how its readings scatter

    @property
    def total_a(self) -> float:
        """The sum of the drain currents."""
        return sum(self.currents_a)


class Estimates:
    """One bay's estimates through one soak."""

    def __init__(self, limits: Limits) -> None:
        self.drains = Drains()
        self.currents: tuple[float, ...] = ()  # of this frame, A
        self.steps = Steps()  # in which the currents are read
        self.power_steps = Steps()  # and the forward power under drive
        self.state = State.UNKNOWN  # at this frame
        self.keyed = Keyed(limits)
        self._limits = limits
        self._settle_s = _SETTLES * limits.settle_s
        self.cycle = Cycle()
        self.sink = Heatsink(self.cycle)
        self.source = SourceResistance()
        self.source_edges = 0
        self.block: Block | None = None  # the newest; another object each time
        self.pauses, self.loudness = Pauses(), Loudness()  # of speech
        self.idle_line = Line(huber=3.0)  # idle current over heatsink temperature, of the whole soak
        self.dissipation_w = nan
        self.drive = Drive.OFF
        self._samples: list[tuple[float, ...]] = []
        self._devices = 0
        self._state = State.UNKNOWN
        self._block_from_s = 0.0

    @property
    def drains_known(self) -> int:
        """How many drain currents this bay has shown so far."""
        return len(self.drains.known)

    def see(self, frame: Frame) -> None:
        """Take in what one frame shows of key and currents, in a soak or not: every rule reads it here."""
        self.state = self.keyed.look(frame)
        self.currents = self.drains.look(frame)

    def look(self, frame: Frame, now: Situation) -> None:
        """Take in one frame of a soak, that has been seen."""
        values = frame.values
        clock_s = frame.clock_s
        state, currents = self.state, self.currents
        total_a = sum(currents)
        supply_v = values[SUPPLY]
        power_w = forward_w(frame)
        reflected_w = values[REFLECTED]
        if reflected_w != reflected_w:  # noqa: PLR0124  nan: on a sound dummy load next to nothing
            reflected_w = 0.0
        is_keyed = self.keyed.keyed
        # the rest of the radio's own current, where drain-1 is the total, is heat too, and is counted the same
        heat_w = supply_v * total_a - power_w + reflected_w if currents else nan
        if abs(heat_w) > _MOST_W:
            heat_w = nan
        self.dissipation_w = heat_w
        self.cycle.look(clock_s, is_keyed, now.phase_since_s)
        if self.source.feed(supply_v, total_a, is_keyed, self.keyed.steady(clock_s)):
            self.source_edges += 1
        self.sink.look(clock_s, values[HEATSINK], heat_w, air_c=values[AMBIENT], is_keyed=is_keyed)
        if state is not self._state or now.drive is not self.drive:
            # speech's pauses end nothing: it goes on after them
            if not (now.drive is self.drive is Drive.MODULATED and state in _SPOKEN and self._state in _SPOKEN):
                self._samples.clear()
            self._state, self.drive = state, now.drive
        # a radio that is driven where the plan asks for no drive does something that nothing of its own compares with;
        # nor is one idle where the plan asks for drive: it is speech's pause, or its quietest part
        driven = state is State.DRIVEN and self.drive not in _UNDRIVEN
        if is_keyed:
            self.steps.feed(currents)
            # at the key's edges a reading may be of neither side of it
            paused = state is State.IDLE and clock_s - self.keyed.key_since_s > self._settle_s
            if paused and self.drive is Drive.MODULATED and total_a > rest_a(len(currents), self._limits):
                self.pauses.feed(clock_s, self.sink.heatsink_c, supply_v, currents)
        if (driven or (state is State.IDLE and self.drive is Drive.IDLE)) and self.keyed.steady(clock_s):
            samples = self._samples
            if len(currents) != self._devices:
                self._devices = len(currents)
                samples.clear()
            if not samples:
                self._block_from_s = clock_s
            samples.append((self.sink.heatsink_c, supply_v, power_w, heat_w, *currents, *values[BIASES]))
            if clock_s - self._block_from_s >= BLOCK_S and len(samples) >= BLOCK_SAMPLES:
                self._close_block(clock_s, len(currents))

    def junctions_c(self, k_per_w: float) -> tuple[float, ...]:
        """Each device's junction, Cel, an estimate (JESD51): T_J = T_ref + P_D,i·R_theta; empty where it can't be told.

        ``k_per_w`` is R_theta from heatsink to junction of one device, 0 where nobody gave it. The dissipation is
        shared out in the ratio of the currents.
        """
        block = self.block
        if not k_per_w or block is None or not block.total_a > 0.0:
            return ()
        return tuple(block.heatsink_c + k_per_w * block.dissipation_w * a / block.total_a for a in block.currents_a)

    def idle_at(self, idle: OwnHistory | None, at_c: float = 25.0) -> tuple[float | None, float | None]:
        """Idle current at a temperature, A, and its coefficient, A/K, by this bay's idle windows; None if unknown."""
        line = self.idle_line
        # cold and hot idle phases of one soak tell the coefficient outright
        if line.weight > 2.0 and line.sxx >= line.weight * IDLE_APART_K**2 and line.slope_sd < IDLE_SURE * line.mean_y:
            return line.at(at_c), line.slope
        if idle is None:
            return None, None
        if not idle.ready:
            # a first window tells the current as it is, near room temperature, and no coefficient
            mean = idle.waiting_mean()
            return (exp(mean), None) if mean is not None else (None, None)
        log_a, per_k = idle.fit.theta[0], idle.fit.theta[1]
        current_a = exp(log_a + per_k * (at_c - idle.origin[0]))
        # a coefficient that is no surer than a guess is not told
        sure = sqrt(idle.fit.covariance[1][1]) < 0.001
        return current_a, per_k * current_a if sure else None

    def _close_block(self, clock_s: float, devices: int) -> None:
        samples = self._samples
        means = [_robust(column) for column in zip(*samples, strict=True)]
        self.block = Block(
            clock_s,
            clock_s - self._block_from_s,
            self._state,
            self.drive if self._state is State.DRIVEN else Drive.IDLE,
            self.cycle.keyed_s,
            means[0],
            means[1],
            means[2],
            tuple(means[4 : 4 + devices]),
            tuple(means[4 + devices :]),
            means[3],
            _robust(tuple([sqrt(max(sample[2], 0.0)) for sample in samples])),
            _standard_error([sum(sample[4 : 4 + devices]) for sample in samples]),
        )
        if self._state is State.DRIVEN:
            for sample in samples:
                self.power_steps.feed((sample[2],))
        samples.clear()
        block = self.block
        if block.drive is Drive.MODULATED:
            self.loudness.feed(block.keyed_s, block.total_a, block.root_w)
        if block.state is State.IDLE and isfinite(block.heatsink_c + block.total_a):
            self.idle_line.feed(block.heatsink_c, block.total_a)


def _standard_error(values: list[float]) -> float:
    # from one reading to the next, so that what grows steadily is no noise; without the greatest step: a spike
    steps = sorted([(b - a) ** 2 for a, b in pairwise(values)])[:-1]
    return sqrt(sum(steps) / (2.0 * max(len(steps), 1) * len(values)))


def _robust(column: tuple[float, ...]) -> float:
    # the mean without the greatest and the least: one spike in a block does nothing
    good = sorted([v for v in column if v == v])  # noqa: PLR0124  nan
    n = len(good)
    if n == 0 or 2 * n < len(column):
        return nan
    if n <= 2:
        return sum(good) / n
    return sum(good[1:-1]) / (n - 2)
