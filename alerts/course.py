"""How a current has gone with the temperature under one drive: points to read a loop gain from, a key-down each."""

from collections import deque
from collections.abc import Collection
from math import inf, sqrt
from typing import NamedTuple

from alerts.estimates import Block
from alerts.estimators.loop_gain import CurrentGain
from alerts.estimators.slope import Line
from alerts.keyed import State
from alerts.loudness import Loudness

#: standard deviation that a point's current has at the least, as a ratio: hum, steps, what power does not explain; and
#: under speech
_NOISE, _SPEECH = 0.0015, 0.01
#: blocks that a point of speech is made of, at the least; where a key-down has less, of several key-downs
_MEMBERS = 2


class Known(NamedTuple):
    """What a course tells at the end of a point: its gains, and the standard deviation of one point's current, A."""

    gains: CurrentGain
    noise_a: float


class Course:
    """Under a steady drive; a point's current is that at the power of the first block.

    What goes with power is not the bias' doing: class B, the root of power (textbook).
    """

    def __init__(self, block: Block) -> None:
        self.clock_s = self.keyed_s = inf  # of the newest block
        self._reference_w = block.forward_w
        self._gains = CurrentGain()
        self._sums = [0.0] * 4  # over seconds: of themselves, clock, heatsink, current

    @property
    def seconds(self) -> float:
        """How much there is of the point that is being made."""
        return self._sums[0]

    def level_a(self, block: Block) -> float:
        """The block's current at the power of the first one, A."""
        if block.state is not State.DRIVEN:
            return block.total_a
        return block.total_a * sqrt(self._reference_w / block.forward_w)

    def add(self, block: Block) -> None:
        """Take one block into the point that is being made."""
        seconds = block.seconds
        for i, value in enumerate((1.0, block.clock_s, block.heatsink_c, self.level_a(block))):
            self._sums[i] += seconds * value

    def close(self, least_s: float) -> Known | None:
        """The point has been made, and another begins; None where it is made of less than so many seconds."""
        seconds, *sums = self._sums
        self._sums = [0.0] * 4
        if seconds < least_s:
            return None
        clock_s, heatsink_c, current_a = (one / seconds for one in sums)
        self._gains.feed(clock_s, heatsink_c, current_a)
        return Known(self._gains, _NOISE * current_a)


class SpokenCourse(Course):
    """Under speech, which is another at each reading: a point's current is that at the usual loudness."""

    def __init__(self, block: Block, loudness: Loudness) -> None:
        super().__init__(block)
        self._points: deque[tuple[float, ...]] = deque(maxlen=CurrentGain.WINDOWS[-1])
        self._loudness = loudness
        self._line = Line()
        self._usual_s = inf

    def add(self, block: Block) -> None:
        super().add(block)
        self._line.feed(block.root_w, block.total_a)

    def close(self, least_s: float) -> Known | None:
        if self.seconds < least_s or self._line.count < _MEMBERS:
            return None
        self._usual_s = self.seconds
        self._points.append(self._point())
        line, self._line, self._sums = self._line, Line(), [0.0] * 4
        return self._told(self._points, line.count)

    def so_far(self) -> Known | None:
        """What it tells with the point that is being made, once there is half of it; None before."""
        if self.seconds < 0.5 * self._usual_s or self._line.count < _MEMBERS:
            return None
        return self._told([*self._points, self._point()], self._line.count)

    def _point(self) -> tuple[float, ...]:
        seconds, clock_s, heatsink_c, _ = self._sums
        return clock_s / seconds, heatsink_c / seconds, self._line.mean_y, self._line.mean_x

    def _told(self, points: Collection[tuple[float, ...]], members: int) -> Known | None:
        shared, usual = self._loudness.shared, self._loudness.usual
        if shared is None:
            return None
        gains = CurrentGain()
        apart, current_a = 0.0, 0.0
        for clock_s, heatsink_c, told_a, root in points:
            current_a = told_a - shared.slope * (root - usual)
            gains.feed(clock_s, heatsink_c, current_a)
            apart += (root - usual) ** 2
        noise2 = shared.noise_sd**2 / members + shared.slope_sd**2 * apart / len(points)
        return Known(gains, max(sqrt(noise2), _SPEECH * current_a))
