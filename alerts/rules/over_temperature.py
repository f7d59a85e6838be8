"""``over-temperature``: heatsink, case or junction estimate over its limit, in two steps. Watched between soaks too."""

from collections.abc import Sequence
from typing import ClassVar

from alerts.estimates import Block
from alerts.pads import Pad, Pads
from alerts.types import JUDGING, Event, Finding, Priority, Situation, Standing, not_yet
from alerts.watch import NOTHING, Condition, Step, Terms, Watch, celsius, sentence
from sensors.types import CASES, CHANNELS, HEATSINK, NAN, Frame

#: a case that stands higher than it should is back when it is within this part of the limit
_BACK = 0.6


class OverTemperature:
    """A temperature over its limit harms whether or not anything else is wrong: nothing masks it.

    A case that leaves its heatsink behind is said long before: its device is far hotter inside than its case.
    """

    name: ClassVar[str] = "over-temperature"

    def __init__(self, terms: Terms) -> None:
        self._watches = [(i, _watch(terms, i)) for i in (HEATSINK, *range(CASES.start, CASES.stop))]
        self._believed_c = terms.limits.sensor_max_c
        self._estimates = terms.estimates
        self._junction_k_per_w = terms.limits.junction_k_per_w
        self._junction = _junction_watch(terms)
        self._block: Block | None = None
        self._pads = Pads()
        self._loose = {
            i: Condition(terms, self.name, f"{CHANNELS[i]} pad", Priority.WARNING, terms.limits.temperature_dwell_s)
            for i in range(CASES.start, CASES.stop)
        }
        self._loose_limits = (terms.limits.case_growth_ratio, terms.limits.case_growth_c)
        self._judging = False

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame."""
        values, said = frame.values, NOTHING
        for i, watch in self._watches:
            value_c = values[i]
            # no heat but a short reads so high: it is sensor-fault's to say, and to trip
            found = watch.judge(
                value_c if value_c <= self._believed_c else NAN, frame.clock_s, frame.time_ns, now.sample_s
            )
            if found:
                said = [*said, *found]
        if not self._judging and values[HEATSINK] == values[HEATSINK]:
            self._judging = True
        if self._junction_k_per_w and self._estimates.block is not self._block:
            hot = self._hottest_junction(frame)
            if hot:
                said = [*said, *hot]
        if self._pads.look(frame, self._estimates):
            for i, pad in self._pads.pads.items():
                loose = self._leaves_heatsink(i, pad, frame, now)
                if loose:
                    said = [*said, *loose]
        return said

    def _leaves_heatsink(self, i: int, pad: Pad, frame: Frame, now: Situation) -> Sequence[Finding]:
        condition = self._loose[i]
        ratio, least_k = self._loose_limits
        limit_k = max(ratio * pad.should_k, least_k)
        grown_k = pad.over_k - pad.should_k
        others = [p.over_k - p.should_k for j, p in self._pads.pads.items() if j != i]
        if others:
            # where all have grown alike it is the heatsink's sensor that reads less
            grown_k -= max(min(others), 0.0)
        event = condition.judge_band(grown_k > limit_k, grown_k < _BACK * limit_k, frame.clock_s, now.sample_s)
        if event is None:
            return NOTHING
        stands = f"{CHANNELS[i]} stands {pad.over_k:.1f} K over the heatsink for {pad.heat_w:.1f} W"
        if event is Event.RETURNED:
            text = f"{stands}, near the {pad.should_k:.1f} K of its first minutes again"
        else:
            text = (
                f"{stands}, where in its first minutes it would have stood {pad.should_k:.1f} K over it, for "
                f"{condition.lasted} now: look at this device's screws and thermal compound or pad"
            )
        return [condition.finding(event, frame.time_ns, text, unit="K", value=pad.over_k, limit=pad.should_k + limit_k)]

    def _hottest_junction(self, frame: Frame) -> Sequence[Finding]:
        block = self._block = self._estimates.block
        known = [c for c in self._estimates.junctions_c(self._junction_k_per_w) if c == c]  # noqa: PLR0124  nan
        if block is None or not known:
            return NOTHING
        return self._junction.judge(max(known), block.clock_s, frame.time_ns, block.seconds)

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no temperature: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Judges from the first heatsink reading on."""
        return JUDGING if self._judging else not_yet("no heatsink temperature has come")


def _junction_watch(terms: Terms) -> Watch:
    limits = terms.limits
    steps = [
        Step(Priority.WARNING, limits.junction_c - limits.junction_margin_c, limits.temperature_dwell_s),
        Step(Priority.TRIP, limits.junction_c, limits.temperature_dwell_s),
    ]
    look = "look at the devices' screws and thermal pads, then at their currents"
    return Watch(
        terms,
        OverTemperature.name,
        "junction",
        unit="Cel",
        steps=steps,
        tell=sentence("the hottest junction, by estimate,", celsius, look),
        deadband=limits.temperature_deadband_c,
    )


def _watch(terms: Terms, index: int) -> Watch:
    limits, channel = terms.limits, CHANNELS[index]
    if index == HEATSINK:
        limit_c, margin_c = limits.heatsink_c, limits.heatsink_margin_c
        look = "look at the fan, the air around the heatsink and the load's power"
    else:
        limit_c, margin_c = limits.case_c, limits.case_margin_c
        look = "look at this device's screws and thermal compound or pad"
    steps = [
        Step(Priority.WARNING, limit_c - margin_c, limits.temperature_dwell_s),
        Step(Priority.TRIP, limit_c, limits.temperature_dwell_s),
    ]
    return Watch(
        terms,
        OverTemperature.name,
        channel,
        unit="Cel",
        steps=steps,
        tell=sentence(f"{channel} temperature", celsius, look),
        deadband=limits.temperature_deadband_c,
    )
