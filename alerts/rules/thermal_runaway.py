"""``thermal-runaway``: the electro-thermal loop gain ``G = V·(∂I/∂T)·R``; at 1 no steady state exists."""

from collections.abc import Sequence
from math import inf
from typing import ClassVar

from alerts.course import Course, Known, SpokenCourse
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
#: standard deviation of the current in a pause of speech, as a ratio: each comes after other heat
_PAUSE = 0.03
#: G is told for a heatsink that has moved by this much within the memory, K
_LEAST_SPREAD_K = 0.3
_DWELL_S = 30.0
#: what was known under a drive that has been away for longer than this, s, is another time's
_AWAY_S = 300.0
_DEADBAND = 0.2


Steps = Sequence[tuple[Condition, float]]
"""The conditions of one gain, mildest first, with their limits."""


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
        driven = block.state is State.DRIVEN
        if not (block.total_a > 0.0 and block.heatsink_c == block.heatsink_c and (block.forward_w > 0.0 or not driven)):
            return NOTHING
        speech = block.drive is Drive.MODULATED
        course = self._courses.get(block.drive)
        if course is None or block.clock_s - course.clock_s > _AWAY_S:
            course = SpokenCourse(block, self._estimates.loudness) if speech else Course(block)
            self._courses[block.drive] = course
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
        shared = self._estimates.loudness.shared
        if speech:
            said += NOTHING if shared is None else self._growth.listen(block, shared, frame.time_ns)
        else:
            said += self._growth.look(block, course.level_a(block), frame.time_ns)
        on_s = self._estimates.cycle.on_s or inf
        if block.keyed_s - block.seconds < (_SETTLED_S if long else min(_FROM_S, _SHORT * on_s)):
            return said
        course.add(block)
        if long and course.seconds >= _POINT_S:
            said += self._next_point(course, block, frame)
        elif isinstance(course, SpokenCourse):
            known = course.so_far()
            said += NOTHING if known is None else self._judge(known, self._steps, block, frame)
        return said

    def _look_at_pause(self, pause: Pause, frame: Frame) -> Sequence[Finding]:
        if self._pause is not None and pause.clock_s - self._pause.clock_s > _AWAY_S:
            self._pause_gains = CurrentGain()
        self._pause = pause
        if not pause.total_a > 0.0:
            return NOTHING
        self._pause_gains.feed(pause.clock_s, pause.heatsink_c, pause.total_a)
        known = Known(self._pause_gains, _PAUSE * pause.total_a)
        return self._judge(known, self._pause_steps, pause, frame)

    def _next_point(self, course: Course, block: Block, frame: Frame) -> Sequence[Finding]:
        known = course.close(min(_LEAST_S, _SHORT * (self._estimates.cycle.on_s or inf)))
        return NOTHING if known is None else self._judge(known, self._steps, block, frame)

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

    def _judge(self, known: Known, steps: Steps, block: Block | Pause, frame: Frame) -> Sequence[Finding]:
        resistance = self._estimates.sink.k_per_w
        if resistance is None:
            return NOTHING
        k_per_w, sd = resistance
        told = [
            (gain_of(slope, block.supply_v, k_per_w, sd), slope)
            for slope in known.gains.slopes(known.noise_a)
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
