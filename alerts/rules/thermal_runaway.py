"""``thermal-runaway``: the electro-thermal loop gain ``G = V·(∂I/∂T)·R``; at 1 no steady state exists."""

from collections.abc import Sequence
from math import inf, sqrt
from typing import ClassVar

from alerts.estimates import Block
from alerts.estimators.loop_gain import CurrentGain, Gain, Slope, gain_of
from alerts.keyed import State
from alerts.pauses import Pause
from alerts.self_growth import SelfGrowth
from alerts.types import JUDGING, Event, Finding, Priority, Situation, Standing, not_applicable, not_yet
from alerts.watch import NOTHING, Condition, Terms
from sensors.types import Drive, Frame

#: one point of current against temperature is a mean over a whole short key-down, from _FROM_S on; of a long one over
#: parts of _POINT_S, begun when devices and sensor have settled
_POINT_S, _FROM_S, _SETTLED_S, _LONG_S = 15.0, 10.0, 40.0, 90.0
#: a point is made of so many seconds at the least; and begins, and is made, with this part of a very short key-down
_LEAST_S, _SHORT = 9.0, 0.3
#: standard deviation that a point's current has at the least, as a ratio: hum, steps, what power does not explain; and
#: under speech, whose loudness is never the same twice; and in its pauses, each of which comes after other heat
_NOISE, _SPEECH, _PAUSE = 0.0015, 0.02, 0.03
#: the noise of speech is estimated from a few points: it may well be more by this factor
_SPEECH_SURE, _PAIRS = 1.5, 3
#: G is told for a heatsink that has moved by this much within the memory, K
_LEAST_SPREAD_K = 0.3
_DWELL_S = 30.0
#: what was known under a drive that has been away for longer than this, s, is another time's
_AWAY_S = 300.0
_DEADBAND = 0.2


Steps = Sequence[tuple[Condition, float]]
"""The conditions of one gain, mildest first, with their limits."""


class Course:
    """How the current has gone with the temperature under one drive."""

    __slots__ = (
        "_odd",
        "_pairs",
        "_scatter2",
        "clock_s",
        "gains",
        "halves",
        "keyed_s",
        "least_s",
        "point",
        "reference_w",
    )

    def __init__(self, reference_w: float) -> None:
        self.reference_w = reference_w
        self.gains = CurrentGain()
        self.point = [0.0] * 5  # sums over seconds: of themselves, heatsink, current, clock, power
        self.halves = [[0.0, 0.0], [0.0, 0.0]]  # sums of current and power over every other block, and over the others
        self._odd = False
        self._pairs, self._scatter2 = 0, 0.0
        self.clock_s = self.keyed_s = inf
        self.least_s = _LEAST_S

    def add(self, block: Block, current_a: float) -> None:
        """Take one block into the point that is being made."""
        seconds = block.seconds
        for i, value in enumerate((1.0, block.heatsink_c, current_a, block.clock_s, block.forward_w)):
            self.point[i] += seconds * value
        half = self.halves[self._odd]
        half[0] += seconds * current_a
        half[1] += seconds * block.forward_w
        self._odd = not self._odd

    def close(self) -> list[float]:
        """The point that has been made, as sums; the next one begins. What its two halves differ by is noise."""
        told = [a / sqrt(a_w) for a, a_w in self.halves if a > 0.0 and a_w > 0.0]
        if len(told) == 2:
            # halves of the same length: each is off by the root of two times what the whole is
            self._pairs += 1
            self._scatter2 += ((told[0] - told[1]) / (told[0] + told[1])) ** 2
        point, self.point, self.halves = self.point, [0.0] * 5, [[0.0, 0.0], [0.0, 0.0]]
        self._odd = False
        return point

    @property
    def noise(self) -> float:
        """The standard deviation of a point of speech, as a ratio, by the halves of all so far; inf while unknown."""
        return sqrt(self._scatter2 / self._pairs) if self._pairs >= _PAIRS else inf


class ThermalRunaway:
    """Estimated from this unit's current against its temperature at constant drive, never assumed.

    Means over part of a key-down are compared, from one key-down to the next, so that what the devices do within
    seconds of keying does not count. A current that creeps with time alone is bias-drift, not this.
    """

    name: ClassVar[str] = "thermal-runaway"

    def __init__(self, terms: Terms) -> None:
        limits = terms.limits
        self._estimates = terms.estimates

        def steps(subject: str) -> Steps:
            return (
                (
                    Condition(terms, self.name, subject, Priority.WARNING, _DWELL_S),
                    min(limits.loop_gain_warning, limits.loop_gain),
                ),
                (Condition(terms, self.name, subject, Priority.TRIP, _DWELL_S), limits.loop_gain),
            )

        self._steps = steps("loop gain")
        # speech has its pauses, in which the radio idles: its current there shows a bias that runs away by itself
        self._pause: Pause | None = None
        self._pause_steps = steps("loop gain in pauses")
        self._pause_gains = CurrentGain()
        self._growth = SelfGrowth(terms, self.name)
        self._block: Block | None = None
        self._course: Course | None = None
        self._courses: dict[Drive, Course] = {}
        self._frames = 0
        self.gain: Gain | None = None

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame: the seconds, and the block, that it closed, if it closed one."""
        self._frames += 1
        surges = self._growth.step(frame)
        pause = self._estimates.pauses.newest
        if pause is not self._pause and pause is not None:
            return [*surges, *self._look_at_pause(pause, frame)]
        block = self._estimates.block
        if block is self._block or block is None:
            return surges
        return [*surges, *self._look(block, frame, now)]

    def _look(self, block: Block, frame: Frame, now: Situation) -> Sequence[Finding]:
        self._block = block
        current_a = block.total_a
        driven = block.state is State.DRIVEN
        if not (current_a > 0.0 and block.heatsink_c == block.heatsink_c and (block.forward_w > 0.0 or not driven)):
            return NOTHING
        course = self._courses.get(block.drive)
        if course is None or block.clock_s - course.clock_s > _AWAY_S:
            course = self._courses[block.drive] = Course(block.forward_w)
        speech = block.drive is Drive.MODULATED
        if driven and not speech:
            # the part of the current that goes with power is not the bias' doing: class B, the root of power (textbook)
            current_a *= sqrt(course.reference_w / block.forward_w)
        said: list[Finding] = []
        if block.keyed_s < course.keyed_s:
            said += self._next_point(course, block, frame)
            self._growth.restart()
        if course is not self._course:
            # speech has its pauses, in which the radio idles: what is known of its current while it speaks is kept
            self._course = course
            self._growth.restart()
        course.clock_s, course.keyed_s = block.clock_s, block.keyed_s
        long = (
            max(self._estimates.cycle.on_s, min(now.on_limit_s, 1e6) if self._estimates.cycle.on_s == 0.0 else 0.0)
            > _LONG_S
        )
        long = long or block.keyed_s > _LONG_S
        if not speech:
            said += self._growth.look(block, current_a, frame.time_ns)
        on_s = self._estimates.cycle.on_s or inf
        course.least_s = min(_LEAST_S, _SHORT * on_s)
        if block.keyed_s - block.seconds < (_SETTLED_S if long else min(_FROM_S, _SHORT * on_s)):
            return said
        course.add(block, current_a)
        if long and course.point[0] >= _POINT_S:
            said += self._next_point(course, block, frame)
        return said

    def _look_at_pause(self, pause: Pause, frame: Frame) -> Sequence[Finding]:
        if self._pause is not None and pause.clock_s - self._pause.clock_s > _AWAY_S:
            self._pause_gains = CurrentGain()
        self._pause = pause
        if not pause.total_a > 0.0:
            return NOTHING
        self._pause_gains.feed(pause.clock_s, pause.heatsink_c, pause.total_a)
        return self._judge(self._pause_gains, self._pause_steps, pause, frame, noise_a=_PAUSE * pause.total_a)

    def _next_point(self, course: Course, block: Block, frame: Frame) -> Sequence[Finding]:
        whole, heat, current, clock, power = course.close()
        if whole < course.least_s:
            return NOTHING
        noise, most = _NOISE, 0.0
        if block.drive is Drive.MODULATED:
            # of speech, the quietest seconds would count most: it is taken as a whole
            if not course.gains.count:
                course.reference_w = power / whole
            current *= sqrt(course.reference_w / (power / whole))
            noise, most = _SPEECH, _SPEECH_SURE * course.noise
        point_a = current / whole
        course.gains.feed(clock / whole, heat / whole, point_a)
        return self._judge(course.gains, self._steps, block, frame, noise_a=noise * point_a, most_a=most * point_a)

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no current: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Needs current, and a heatsink that has moved under drive."""
        if self.gain is not None:
            return JUDGING
        if self._frames and self._estimates.drains_known == 0:
            return not_applicable("no drain current is measured")
        return not_yet("the heatsink has not moved far enough under drive to tell a loop gain")

    def _judge(
        self,
        gains: CurrentGain,
        steps: Steps,
        block: Block | Pause,
        frame: Frame,
        *,
        noise_a: float,
        most_a: float = 0.0,
    ) -> Sequence[Finding]:
        resistance = self._estimates.sink.k_per_w
        if resistance is None:
            return NOTHING
        k_per_w, sd = resistance
        told = [
            (gain_of(slope, block.supply_v, k_per_w, sd), slope)
            for slope in gains.slopes(noise_a, most_a=most_a)
            if slope.spread_k >= _LEAST_SPREAD_K
        ]
        if not told:
            return NOTHING
        surest = min(told, key=lambda one: one[0].sd)
        driven = [one for one in told if one[1].by_temperature <= 1.0]
        found, slope = max(driven, key=lambda one: one[0].least, default=surest)
        if steps is self._steps or found.least >= steps[0][1]:
            self.gain = surest[0] if found.least < steps[0][1] else found
        said: list[Finding] = []
        for condition, limit in steps:
            over = bool(driven) and found.least > limit
            event = condition.judge_band(over, surest[0].value < limit - _DEADBAND, block.clock_s, 120.0)
            if event is not None:
                shown = surest[0] if event is Event.RETURNED else found
                text = self._text(event, shown, limit, slope, condition.lasted)
                said.append(condition.finding(event, frame.time_ns, text, unit="1", value=shown.value, limit=limit))
        return said

    def _text(self, event: Event, found: Gain, limit: float, slope: Slope, lasted: str) -> str:
        if event is Event.RETURNED:
            return f"the electro-thermal loop gain is {found.value:.2f}, within the limit of {limit:g}"
        return (
            f"the electro-thermal loop gain is {found.value:.2f} (give or take {2 * found.sd:.2f}), over the limit of "
            f"{limit:g} for {lasted}: each kelvin adds {1000 * slope.a_per_k:.0f} mA, which heats further; look at the "
            "bias compensation and its sensor's thermal contact, then at the devices"
        )
