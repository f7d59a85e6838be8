"""``reflected-power``: the standing wave ratio over its limit: the load, not the radio."""

from collections.abc import Sequence
from typing import ClassVar

from alerts.keyed import State
from alerts.types import JUDGING, Finding, Priority, Situation, Standing, not_applicable, not_yet
from alerts.watch import NOTHING, Step, Terms, Watch, sentence
from sensors import rf
from sensors.types import FORWARD, REFLECTED, Drive, Frame, Quality

#: a mismatch is told up to here; beyond it all is reflected, and the figure would only be noise
_MAX_SWR = 99.0
#: in the quiet parts of speech, under this part of its greatest power, a detector's steps make any SWR
_QUIET = 0.15
#: how far within the limit SWR must be to be normal again; common practice, no source
_DEADBAND = 0.1


class ReflectedPower:
    """Judged under steady drive above the forward floor alone: at key edges the two detectors don't agree."""

    name: ClassVar[str] = "reflected-power"

    def __init__(self, terms: Terms) -> None:
        limits = terms.limits
        self._estimates = terms.estimates
        self._watch = Watch(
            terms,
            self.name,
            "swr",
            unit="1",
            steps=[
                Step(Priority.WARNING, min(limits.swr_warning, limits.swr), limits.swr_dwell_s),
                Step(Priority.TRIP, limits.swr, limits.swr_dwell_s),
            ],
            tell=sentence(
                "SWR", lambda swr: f"{swr:.2f}", "look at the dummy load and its cable, not first at the radio"
            ),
            deadband=_DEADBAND,
        )
        self._frames = 0
        self._most_w = 0.0
        self._newest_w = (0.0, 0.0)
        self._measured = False
        self._judging = False

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame."""
        self._frames += 1
        state = self._estimates.state
        if frame.quality[REFLECTED] != Quality.MISSING:
            self._measured = True
        forward = frame.values[FORWARD]
        older, old = self._newest_w
        self._newest_w = (old, forward)
        # without single spikes
        self._most_w = max(self._most_w, min(older, old), min(max(older, old), forward))
        quiet = now.drive is Drive.MODULATED and forward < _QUIET * self._most_w
        if state is not State.DRIVEN or quiet or not self._estimates.keyed.steady(frame.clock_s):
            return NOTHING
        ratio = swr(frame)
        if ratio == ratio:  # noqa: PLR0124  nan
            self._judging = True
        return self._watch.judge(ratio, frame.clock_s, frame.time_ns, now.sample_s)

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no power: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Needs reflected power, and a key-down with drive."""
        if self._judging:
            return JUDGING
        if self._frames and not self._measured:
            return not_applicable("reflected power is not measured")
        return not_yet("the radio has not been driven steadily above the forward floor")


def swr(frame: Frame) -> float:
    """SWR of a frame, nan where it can't be told; whether the radio is driven enough for it is the caller's to say.

    Reflected power under its detector's table is as good as none, so SWR 1.
    """
    if frame.quality[REFLECTED] == Quality.BELOW:
        return 1.0
    return min(rf.swr(frame.values[FORWARD], frame.values[REFLECTED], floor_w=0.0), _MAX_SWR)
