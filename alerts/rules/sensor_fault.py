"""``sensor-fault``: open, shorted, out of range, missing, stuck, off its heatsink, or leapt; a heatsink's unkeys."""

from collections.abc import Sequence
from typing import ClassVar

from alerts.estimators.answer import Noise
from alerts.estimators.leap import Leap
from alerts.strays import Strays
from alerts.stuck import Dissipation, Stuck
from alerts.trust import BLOCK_S, Trust
from alerts.types import JUDGING, Event, Finding, Priority, Situation, Standing, not_yet
from alerts.watch import NOTHING, Condition, Terms
from sensors.types import AMBIENT, CASES, CHANNELS, DRAINS, FORWARD, HEATSINK, KEY, LOAD, SUPPLY, UNITS, Frame, Quality

_UNITS = tuple(UNITS.values())
_CASES = range(CASES.start, CASES.stop)
_DRAINS = range(DRAINS.start, DRAINS.stop)
_NEEDED = (HEATSINK, SUPPLY, FORWARD)
#: what a bay may do without, its node may send seldom: no reading for less than this, s, is none (common practice, no
#: source)
_SELDOM_S = 30.0
_WORKS = frozenset({Quality.GOOD, Quality.BELOW})
#: where a reading stands still for far longer than it ever did, this part of the heat is enough to tell that it sticks
_LONG_HEAT = 1.0 / 6.0
#: a reading that has leapt, and back to within this, K, is what it was
_LEAPT_BACK_K = 1.5
_SAYS = {
    Quality.MISSING: ("has given no reading", "look at its wire and at what the node sends"),
    Quality.OPEN: ("has been open", "look at the sensor's two wires and their connector"),
    Quality.SHORT: ("has been shorted", "look for a short in the sensor's wires"),
    Quality.OUTSIDE: (
        "has been outside what its sensor or calibration covers",
        "look at the sensor and its configuration",
    ),
    Quality.REFUSED: (
        "has come in a wrong unit or as text",
        "look at what the node sends and at the bay's configuration",
    ),
}


class SensorFault:
    """Watches the channels that every bay needs, and those that this bay has ever had."""

    name: ClassVar[str] = "sensor-fault"

    def __init__(self, terms: Terms) -> None:
        limits = terms.limits
        temperatures = (HEATSINK, *_CASES, LOAD, AMBIENT)
        self._ranges = [(i, limits.sensor_min_c, limits.sensor_max_c) for i in temperatures]
        self._ranges += [(i, limits.sensor_min_a, float("inf")) for i in _DRAINS]
        self._span = {i: (low, high) for i, low, high in self._ranges}
        self._faults = [
            Condition(terms, self.name, channel, _priority(i), limits.sensor_dwell_s)
            for i, channel in enumerate(CHANNELS)
        ]
        self._no_drain = Condition(terms, self.name, "drain", Priority.WARNING, limits.sensor_dwell_s)
        self._stuck = [
            (i, Stuck(limits), Condition(terms, self.name, f"{CHANNELS[i]} stuck", _priority(i), 0.0))
            for i in (HEATSINK, *_CASES)
        ]
        self._dissipation = Dissipation()
        self._estimates = terms.estimates
        self._noise = Noise()
        self._noise_keyed_s = float("nan")
        self._heat_blocks = 0
        self._fallen = Condition(terms, self.name, "heatsink detached", Priority.TRIP, 10.0)
        self._deaf = Condition(terms, self.name, "heatsink answer", Priority.TRIP, 30.0)
        self._still = Condition(terms, self.name, "heatsink still", Priority.TRIP, limits.sensor_dwell_s)
        self._strays = Strays(terms, self.name)
        self._leap = Leap()
        self._leapt = Condition(terms, self.name, "heatsink step", Priority.TRIP, 0.0)
        self._known: set[int] = set()
        self._away_s: dict[int, float] = {}  # since when a channel that a bay may do without is away
        self._calm = b""  # a frame's qualities under which nothing was wrong
        self._busy = False
        self._frames = 0

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame."""
        self._frames += 1
        values = frame.values
        strange = False
        for i, low, high in self._ranges:
            if values[i] < low or values[i] > high:
                strange = True
                break
        said = NOTHING
        if strange or self._busy or frame.quality != self._calm:
            said = self._all_channels(frame, now)
        stuck = self._stuck_sensors(frame, now)
        if stuck:
            said = [*said, *stuck]
        for more in (self._heatsink_answers(frame, now), self._strays.step(frame)):
            if more:
                said = [*said, *more]
        return said

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no reading: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Judges from the first frame on."""
        return JUDGING if self._frames else not_yet("no pack has come")

    def _heatsink_answers(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        said: list[Finding] = []
        estimates, value = self._estimates, frame.values[HEATSINK]
        if value == value:  # noqa: PLR0124  nan
            said += self._leaps(frame, value, now)
            since_s = estimates.keyed.since_s
            if since_s != self._noise_keyed_s:
                self._noise_keyed_s = since_s
                self._noise.restart()
            # noise is compared while keyed alone: at rest a node may well read without any
            still = estimates.keyed.keyed and self._noise.feed(frame.clock_s, value)
            if still or not self._still.quiet:
                event = self._still.judge(still, frame.clock_s, now.sample_s)
                if event is not None:
                    for_s = frame.clock_s - self._noise.since_s
                    text = (
                        "heatsink moves again"
                        if event is Event.RETURNED
                        else f"heatsink has read exactly {value:.2f} °C for {for_s:.0f} s, {self._noise.same} packs, "
                        "where it always had some noise: look at the sensor's amplifier, its converter and the node"
                    )
                    said.append(self._still.finding(event, frame.time_ns, text, unit="s", value=for_s))
        if estimates.sink.trust.blocks == self._heat_blocks:
            return said
        self._heat_blocks = estimates.sink.trust.blocks
        event = self._fallen.judge(estimates.sink.trust.fallen, frame.clock_s, BLOCK_S)
        if event is not None:
            off_k = estimates.sink.trust.falls.fallen_k
            text = (
                "heatsink reads what a heatsink can again"
                if event is Event.RETURNED
                else f"heatsink reads {value:.1f} °C, {_far_from_heat(off_k)}, for {self._fallen.lasted}: its sensor "
                "has come off or reads something else; look at how it is fixed to the heatsink"
            )
            said.append(self._fallen.finding(event, frame.time_ns, text, unit="K", value=off_k, limit=0.0))
        event = self._deaf.judge(estimates.sink.trust.silent, frame.clock_s, BLOCK_S)
        if event is not None:
            seen_k = estimates.sink.trust.unanswered_k
            text = (
                "heatsink answers to the radio's heat again"
                if event is Event.RETURNED
                else f"heatsink {_deaf_to(estimates.sink.trust)} {seen_k:.1f} K, for {self._deaf.lasted}: its sensor "
                "is stuck or has come off; look at how it is fixed to the heatsink, then at the node"
            )
            said.append(self._deaf.finding(event, frame.time_ns, text, unit="K", value=seen_k))
        return said

    def _leaps(self, frame: Frame, value: float, now: Situation) -> Sequence[Finding]:
        low, high = self._span[HEATSINK]
        if low <= value <= high:
            self._leap.feed(frame.clock_s, value)
        by_k = self._leap.by_k
        if by_k == 0.0 and self._leapt.quiet:
            return NOTHING
        event = self._leapt.judge(abs(by_k) > _LEAPT_BACK_K, frame.clock_s, now.sample_s)
        if event is None:
            return NOTHING
        text = (
            "heatsink has leapt back to where it was"
            if event is Event.RETURNED
            else f"heatsink has leapt by {by_k:+.1f} K to {value:.1f} °C from one reading to the next, "
            f"{self._leapt.lasted} ago, which no heat does: look at the sensor's wires and connector, its divider and "
            "the node"
        )
        return [self._leapt.finding(event, frame.time_ns, text, unit="K", value=by_k)]

    def _all_channels(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        said: list[Finding] = []
        calm = True
        for i, condition in enumerate(self._faults):
            quality = Quality(frame.quality[i])
            works = quality in _WORKS
            if works:
                self._known.add(i)
                self._away_s.pop(i, None)
            minds = not works and self._minds(i, quality)
            seldom = minds and quality is Quality.MISSING and not self._is_dead(i, frame.clock_s)
            wrong = _outside(frame.values[i], self._span.get(i)) if works else minds and not seldom
            event = condition.judge(wrong, frame.clock_s, now.sample_s)
            calm = calm and not wrong and not seldom and condition.quiet
            if event is not None:
                said.append(self._finding(event, condition, i, frame, quality))
        none = self._known.isdisjoint(_DRAINS)
        event = self._no_drain.judge(none, frame.clock_s, now.sample_s)
        if event is not None:
            _, look = _SAYS[Quality.MISSING]
            text = "drain current comes"
            if event is Event.RAISED:
                text = f"no drain current has given a reading for {self._no_drain.lasted}: {look}"
            said.append(self._no_drain.finding(event, frame.time_ns, text, unit="A"))
        calm = calm and not none and self._no_drain.quiet
        self._busy = not calm
        if calm:
            self._calm = frame.quality
        return said

    def _minds(self, i: int, quality: Quality) -> bool:
        return quality is not Quality.MISSING or i in _NEEDED or i in self._known

    def _is_dead(self, i: int, clock_s: float) -> bool:
        """Whether a missing channel is dead, and not one that its node sends seldom."""
        if i in _NEEDED or i in _DRAINS or i == KEY:
            return True
        return clock_s - self._away_s.setdefault(i, clock_s) >= _SELDOM_S

    def _finding(self, event: Event, condition: Condition, i: int, frame: Frame, quality: Quality) -> Finding:
        value, limit, unit, channel = frame.values[i], float("nan"), _UNITS[i], CHANNELS[i]
        if event is Event.RETURNED:
            text = f"{channel} gives believable readings again"
        elif quality in _WORKS:
            low, high = self._span[i]
            limit = low if value < low else high
            text = (
                f"{channel} reads {value:.1f} {_sign(unit)}, {'under' if value < low else 'over'} the {limit:g} "
                f"{_sign(unit)} that can be believed, for {condition.lasted}: look at the sensor, its wires and its "
                "configuration"
            )
        else:
            what, look = _SAYS[quality]
            text = f"{channel} {what} for {condition.lasted}: {look}"
        if event is Event.RAISED and i == HEATSINK:
            text += "; without it the radio can't be kept keyed"
        return condition.finding(event, frame.time_ns, text, unit=unit, value=value, limit=limit)

    def _stuck_sensors(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        heat_w = self._dissipation.of(frame, now.sample_s)
        said = NOTHING
        for i, stuck, condition in self._stuck:
            value = frame.values[i]
            holds = stuck.look(value, heat_w, self._dissipation)
            if i == HEATSINK and self._noise.stands_long and abs(stuck.heat_j) >= _LONG_HEAT * stuck.limit_j:
                holds = True
            if holds is None or not (holds or not condition.quiet):
                continue
            event = condition.judge(holds, frame.clock_s, now.sample_s)
            if event is None:
                continue
            if event is Event.RETURNED:
                text = f"{CHANNELS[i]} moves again"
            else:
                text = (
                    f"{CHANNELS[i]} has read exactly {value:.2f} °C for {stuck.same_s:.0f} s while "
                    f"{stuck.heat_j:+.0f} J of heat should have moved it: "
                    "look at the sensor's amplifier, its converter and the node"
                )
            finding = condition.finding(event, frame.time_ns, text, unit="J", value=stuck.heat_j, limit=stuck.limit_j)
            said = [*said, finding]
        return said


def _deaf_to(trust: Trust) -> str:
    if trust.cooldown.lost and not trust.deaf:
        return "does not cool down with the radio at rest, where it should have fallen by at least"
    return "does not answer to the radio's heat, which should have moved it to and fro by"


def _priority(i: int) -> Priority:
    return Priority.TRIP if i == HEATSINK else Priority.WARNING


def _outside(value: float, span: tuple[float, float] | None) -> bool:
    return span is not None and (value < span[0] or value > span[1])


def _sign(unit: str) -> str:
    return "°C" if unit == "Cel" else unit


def _far_from_heat(off_k: float) -> str:
    if off_k > 0.0:
        return f"{off_k:.1f} K under what it can have with four times its known cooling"
    return "so little over the air for the heat that goes in that no fan could do it"
