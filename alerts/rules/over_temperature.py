"""``over-temperature``: heatsink or case over its limit, in two steps. Watched between soaks too."""

from collections.abc import Sequence
from typing import ClassVar

from alerts.types import JUDGING, Finding, Priority, Situation, Standing, not_yet
from alerts.watch import NOTHING, Step, Terms, Watch, celsius, sentence
from sensors.types import CASES, CHANNELS, HEATSINK, NAN, Frame


class OverTemperature:
    """A temperature over its limit harms whether or not anything else is wrong: nothing masks it."""

    name: ClassVar[str] = "over-temperature"

    def __init__(self, terms: Terms) -> None:
        self._watches = [(i, _watch(terms, i)) for i in (HEATSINK, *range(CASES.start, CASES.stop))]
        self._believed_c = terms.limits.sensor_max_c
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
        return said

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no temperature: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Judges from the first heatsink reading on."""
        return JUDGING if self._judging else not_yet("no heatsink temperature has come")


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
