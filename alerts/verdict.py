"""The verdict of a soak: figures gathered in constant memory, and pass, fail or incomplete with its reasons."""

from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import NamedTuple

import msgspec

from alerts.case import CaseResistance
from alerts.estimators.arrhenius import acceleration
from alerts.guard import doubts
from alerts.keyed import Drains, Keyed, State
from alerts.limits import Limits
from alerts.presence import Presence
from alerts.rules.reflected_power import swr
from alerts.types import Event, Finding, Priority, Situation, Standing
from sensors.types import CHANNELS, DRAINS, FORWARD, HEATSINK, NAN, REFLECTED, SUPPLY, Drive, Frame, Quality

#: what a trip or a warning is about, where it is not the radio: such a soak has shown nothing against the unit
BENCH = {
    "reflected-power": "the load, not the radio",
    "load-temperature": "the load, not the radio",
    "supply": "the supply, not the radio",
    "sensor-fault": "the bench's sensing, not the radio",
    "link-lost": "the link to the node, not the radio",
}
#: how much of a soak may go unseen, as a ratio; common practice, no source
UNSEEN_RATIO = 0.02
#: how much of the plan's key-down must have been, as a ratio; common practice, no source
KEY_DOWN_RATIO = 0.95
#: packs further apart than this many sample times, and seconds, leave time unseen: one lost pack or a burst do not
GAP_SAMPLES, GAP_S = 2.5, 1.0


#: what a heatsink sensor says below this is no temperature (it may be a fault on its way)
COLDEST_C = -100.0


class _Before(NamedTuple):
    """What the frame before has shown: it holds until the next."""

    keyed: bool = False
    driven: bool = False
    forward_w: float = NAN
    load_w: float = NAN
    drawn_w: float = NAN
    heatsink_c: float = NAN


class Outcome(StrEnum):
    """What a soak has shown of the unit."""

    PASS = "pass"
    FAIL = "fail"
    INCOMPLETE = "incomplete"


class Verdict(msgspec.Struct, frozen=True):
    """How a soak ended, and why. ``figures`` has only what was measured; units are in the names."""

    verdict: Outcome
    reasons: tuple[str, ...]
    figures: dict[str, float]


class Tally:
    """Gathers one soak's figures and findings; constant memory and time a frame. Made anew for each soak."""

    def __init__(self, limits: Limits, sample_s: float) -> None:
        self._sample_s = sample_s
        self._limits = limits
        self._keyed = Keyed(limits)
        self._drains = Drains()
        self._last_s = NAN
        self._frames = 0
        self._seen_s = 0.0
        self._gap_s = 0.0
        self._key_down_s = 0.0
        self._key_downs = 0
        self._driven_s = 0.0
        self._driven_j = 0.0
        self._rf_j: float | None = None  # None until driven power has been read
        self._drawn_j = 0.0
        self._efficient_j = self._driven_drawn_j = 0.0
        self._heat_s = 0.0
        self._case = CaseResistance()
        self._before = _Before()
        self._most: dict[str, float] = {}
        self._last_two: dict[str, tuple[float, float]] = {}
        self._lacks = {"heatsink": 0, "supply": 0, "forward": 0, "a drain current": 0}
        self._presence = Presence()
        self._raised: dict[tuple[str, str, Priority], Finding] = {}

    def step(self, frame: Frame, now: Situation) -> None:
        """Take one frame in."""
        values, quality, clock_s = frame.values, frame.quality, frame.clock_s
        passed_s = max(clock_s - self._last_s, 0.0) if self._frames else 0.0
        self._frames += 1
        self._last_s = clock_s
        self._presence.look(quality, clock_s)
        self._add(passed_s)

        state = self._keyed.look(frame)
        currents = self._drains.look(frame)
        total_a = sum(currents) if currents else NAN
        keyed = self._keyed.keyed or self._idles(now, total_a)
        if keyed and not self._before.keyed:
            self._key_downs += 1
        forward_w, back_w = values[FORWARD], values[REFLECTED]
        load_w = forward_w - (back_w if back_w == back_w else 0.0)  # noqa: PLR0124  nan: not measured
        self._before = _Before(
            keyed, state is State.DRIVEN, forward_w, load_w, values[SUPPLY] * total_a, values[HEATSINK]
        )

        self._peak("heatsink_max_c", values[HEATSINK])
        for i, a in zip(self._drains.known, currents, strict=True):
            self._peak(f"drain_{i - DRAINS.start + 1}_max_a", a)
        if self._keyed.keyed and self._keyed.steady(clock_s):
            self._peak("supply_min_v", values[SUPPLY], -1.0)
            if state is State.DRIVEN:
                self._peak("swr_max", swr(frame))
                by_drain = dict(zip(self._drains.known, currents, strict=True))
                self._case.look(values, by_drain, values[SUPPLY] * total_a - load_w, min(passed_s, self._sample_s))

        lacks = self._lacks
        for index in (HEATSINK, SUPPLY, FORWARD):
            if quality[index] not in (Quality.GOOD, Quality.BELOW):
                lacks[CHANNELS[index]] += 1
        if not any(a == a for a in currents):  # noqa: PLR0124  nan
            lacks["a drain current"] += 1

    def hear(self, finding: Finding) -> None:
        """Take one finding in; the first of each alert is kept, as its sentence tells what came first."""
        if finding.event is Event.RAISED:
            self._raised.setdefault((finding.rule, finding.subject, finding.priority), finding)

    def verdict(
        self,
        *,
        finished: bool,
        asked_s: float,
        standing: Sequence[Finding] = (),
        stopped: str = "",
        standings: Mapping[str, Standing] | None = None,
        expanded: Mapping[str, float] | None = None,
    ) -> Verdict:
        """The verdict. ``asked_s`` is the plan's key-down, s; ``standing`` what is raised and has not returned;
        ``stopped`` why the soak ended before its plan did; ``standings`` which rules could not judge; ``expanded``
        the expanded uncertainty (k = 2) of figures, by name: those are judged with a guard band."""
        trips = [f for f in self._raised.values() if f.priority is Priority.TRIP]
        still = {(f.rule, f.subject) for f in standing}
        warnings = [f for f in self._raised.values() if f.priority is not Priority.TRIP]
        about_radio = [f.text for f in trips if f.rule not in BENCH]
        about_bench = [f"{BENCH[f.rule]}: {f.text}" for f in trips if f.rule in BENCH]
        notes = [
            f"{'still' if (f.rule, f.subject) in still else 'returned to normal'}: {f.text}"
            for f in warnings
            if (f.rule, f.subject) not in {(t.rule, t.subject) for t in trips}
        ]
        notes += [f"{rule} was not judged: {s.why}" for rule, s in (standings or {}).items() if s.state != "judging"]
        if about_radio:
            return self._ended(Outcome.FAIL, [*about_radio, *about_bench, *notes])
        if about_bench:
            return self._ended(Outcome.INCOMPLETE, [*about_bench, "mend it and soak again", *notes])
        if stopped or not finished:
            return self._ended(Outcome.INCOMPLETE, [stopped or "the plan was not run to its end", *notes])
        bad = [f"still: {f.text}" for f in standing if f.rule not in BENCH and f.priority is Priority.WARNING]
        if bad:
            return self._ended(Outcome.FAIL, [*bad, *notes])
        short = self._short(asked_s)
        short += [f"still: {f.text}" for f in standing if f.rule == "link-lost"]
        if expanded:
            short += doubts(self.figures(), self._limits.model_dump(), expanded)
        if short:
            return self._ended(Outcome.INCOMPLETE, [*short, *notes])
        return self._ended(Outcome.PASS, notes or ["no rule had anything to say"])

    def _idles(self, now: Situation, total_a: float) -> bool:
        # idle current may be less than what a lone drain-1, the radio's whole current, may have at rest; where no node
        # says more, the key that was lent and a current that flows (as the rule keying takes it) are key-down
        asked = now.key_asked and now.drive is Drive.IDLE and not self._keyed.has_word
        return asked and total_a > self._limits.rest_device_a * len(self._drains.known)

    def _ended(self, outcome: Outcome, reasons: Sequence[str]) -> Verdict:
        return Verdict(outcome, tuple(dict.fromkeys(reasons)), self.figures())

    def figures(self) -> dict[str, float]:
        """What has been measured so far; forward power is the mean over driven key-down.

        ``rf_energy_j`` went into the load under drive (forward less reflected), ``drawn_energy_j`` out of the supply;
        ``efficiency_ratio`` is forward power over drawn under drive. ``heat_equivalent_s`` is for how long at
        ``service_c`` the heatsink's time at temperature stands, at ``activation_ev`` (Arrhenius, e-Handbook 8.1.5.1).
        """
        figures = dict(self._most)
        if self._driven_s:
            figures["forward_mean_w"] = self._driven_j / self._driven_s
        figures["key_down_s"] = self._key_down_s
        if self._rf_j is not None:
            figures["rf_energy_j"] = self._rf_j
        figures |= self._case.figures()
        figures["drawn_energy_j"] = self._drawn_j
        if self._driven_drawn_j:
            figures["efficiency_ratio"] = self._efficient_j / self._driven_drawn_j
        if self._heat_s:
            figures["heat_equivalent_s"] = self._heat_s
        figures["energy_j"] = self._drawn_j  # the older name of the same, for who reads it
        figures["frames"] = float(self._frames)
        figures["gap_s"] = self._gap_s
        return {name: round(value, 4) for name, value in sorted(figures.items())}

    def _add(self, passed_s: float) -> None:
        # what the frame before showed holds until this one; time that nobody saw counts for nothing
        self._seen_s += passed_s
        if passed_s > max(GAP_SAMPLES * self._sample_s, GAP_S):
            self._gap_s += passed_s - self._sample_s
            passed_s = self._sample_s
        keyed, driven, forward_w, load_w, drawn_w, heatsink_c = self._before
        if keyed:
            self._key_down_s += passed_s
        if driven and forward_w == forward_w:  # noqa: PLR0124  nan
            self._driven_s += passed_s
            self._driven_j += forward_w * passed_s
            self._rf_j = (self._rf_j or 0.0) + load_w * passed_s
            if drawn_w > 0.0:
                self._efficient_j += forward_w * passed_s
                self._driven_drawn_j += drawn_w * passed_s
        if drawn_w == drawn_w:  # noqa: PLR0124  nan
            self._drawn_j += max(drawn_w, 0.0) * passed_s
        if heatsink_c > COLDEST_C:
            limits = self._limits
            self._heat_s += passed_s * acceleration(limits.service_c, heatsink_c, limits.activation_ev)

    def _peak(self, name: str, value: float, sign: float = 1.0) -> None:
        # the middle one of three readings: a single wrong one is no figure of the unit's, and goes on no certificate
        if value != value:  # noqa: PLR0124  nan
            return
        a, b = self._last_two.get(name, (value, value))
        self._last_two[name] = (b, value)
        middle = max(min(a, b), min(max(a, b), value))
        if not middle * sign <= self._most.get(name, NAN) * sign:
            self._most[name] = middle

    def _short(self, asked_s: float) -> list[str]:
        short = []
        if not self._frames:
            return ["no pack came"]
        if self._gap_s > UNSEEN_RATIO * self._seen_s:
            short.append(
                f"no packs for {self._gap_s:.1f} s of {self._seen_s:.0f} s, over {UNSEEN_RATIO:.0%}: look at the link"
            )
        for channel, frames in self._lacks.items():
            if frames > UNSEEN_RATIO * self._frames:
                part = frames / self._frames
                short.append(f"{channel} was missing in {part:.0%} of the packs: look at its sensor")
        for channel, away_s in self._presence.lost(self._last_s, UNSEEN_RATIO * self._seen_s):
            if self._lacks.get(channel, 0) <= UNSEEN_RATIO * self._frames:
                short.append(f"{channel} was missing for {away_s:.0f} s of {self._seen_s:.0f} s: look at its sensor")
        # each key-down is known to one sample time; of short ones, sampled slowly, that is much
        if self._key_down_s + self._key_downs * self._sample_s < KEY_DOWN_RATIO * asked_s:
            short.append(
                f"keyed for {self._key_down_s:.0f} s of the {asked_s:.0f} s that the plan asks, "
                f"under {KEY_DOWN_RATIO:.0%}: look at the keying line and the node"
            )
        return short
