"""``load-temperature``: the dummy load over its limit, in two steps: the load, not the radio."""

from collections.abc import Sequence
from typing import ClassVar

from alerts.types import JUDGING, Finding, Priority, Situation, Standing, not_applicable, not_yet
from alerts.watch import NOTHING, Step, Terms, Watch, celsius, sentence
from sensors.types import LOAD, Frame, Quality


class LoadTemperature:
    """A load that overheats changes its match, then burns: a limit of its own, whatever the radio does."""

    name: ClassVar[str] = "load-temperature"

    def __init__(self, terms: Terms) -> None:
        limits = terms.limits
        look = "look at the load's cooling and its power rating, then at the radio's power"
        self._watch = Watch(
            terms,
            self.name,
            "load",
            unit="Cel",
            steps=[
                Step(Priority.WARNING, limits.load_c - limits.load_margin_c, limits.temperature_dwell_s),
                Step(Priority.TRIP, limits.load_c, limits.temperature_dwell_s),
            ],
            tell=sentence("load temperature", celsius, look),
            deadband=limits.temperature_deadband_c,
        )
        self._frames = 0
        self._measured = self._judging = False

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame."""
        self._frames += 1
        load_c = frame.values[LOAD]
        if load_c == load_c:  # noqa: PLR0124  nan
            self._judging = True
        elif frame.quality[LOAD] != Quality.MISSING:
            self._measured = True
        return self._watch.judge(load_c, frame.clock_s, frame.time_ns, now.sample_s)

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no temperature: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Needs the load's temperature."""
        if self._judging:
            return JUDGING
        if self._frames and not self._measured:
            return not_applicable("the load's temperature is not measured")
        return not_yet("no load temperature has come")
