"""``keying``: the key and the radio disagree. A stuck key, the worst of all, is watched between soaks too."""

from collections.abc import Sequence
from math import inf
from statistics import median
from typing import ClassVar

from alerts.keyed import forward_w, rest_a
from alerts.limits import Limits
from alerts.types import JUDGING, Event, Finding, Priority, Situation, Standing, not_yet
from alerts.watch import NOTHING, Condition, Terms, ampere, watt
from sensors.types import KEY, NAN, Drive, Frame

#: that current flows is told by this much for each device over what the sensors read at rest, A, and by so many times
#: the noise that they have there; from so many readings of rest on (common practice, no source)
_FLOWS_A, _FLOWS_SD, _RESTED = 0.02, 2.0, 8
#: so much of the idle current, and no less than this, A, for this long, s, is a key that sticks without drive; more
#: than this at rest, A, is a whole radio's current, and no device's (common practice, no source)
_IDLES, _IDLES_A, _IDLES_S, _RECEIVER_A = 0.6, 0.08, 3.0, 0.15
#: what one reading adds to what is known of the idle current
_FOLLOWS = 0.1
_NO_CURRENT = "look at the keying line, the supply fuse, and whether the node has cut out by itself"
_STUCK = (
    "cut the radio's supply by hand if it does not come up; then look at the keying relay, the keying line and "
    "the output devices for a short"
)
_LONG = "look at whether the node hears the daemon, and at the keying line"


class Rest:
    """What the sensors of the drain currents read at rest, all together: their zero and their noise, A."""

    __slots__ = ("_count", "_first", "_off_a", "mean_a")

    def __init__(self) -> None:
        self._count = 0
        self.mean_a = self._off_a = 0.0
        self._first: list[float] = []

    def feed(self, total_a: float) -> None:
        """Take one reading of a radio whose key was taken back."""
        self._count += 1
        if self._count <= _RESTED:
            self._first.append(total_a)
            self.mean_a = median(self._first)
            self._off_a = median([abs(a - self.mean_a) for a in self._first])
            return
        off_a = abs(total_a - self.mean_a)
        # one wrong reading, or a key that sticks, is not the sensors' zero
        if off_a > 10.0 * self._off_a + 0.05:
            return
        share = 1.0 / min(self._count, 64)
        self._off_a += (off_a - self._off_a) * share
        self.mean_a += (total_a - self.mean_a) * share

    def flows_a(self, least_a: float) -> float:
        """The reading over which current flows, ``least_a`` over rest at the least; rest is zero until it is known."""
        if self._count < _RESTED:
            return least_a
        # the mean deviation of Gaussian noise is 0.80 of its standard deviation
        return self.mean_a + max(least_a, _FLOWS_SD * 1.25 * self._off_a)

    def idles(self, total_a: float, idle_a: float) -> bool:
        """Whether a radio that should rest draws what it draws at idle; False while too little is known.

        What counts a receiver in, whose own current comes and goes, is not judged.
        """
        if self._count < _RESTED or self.mean_a > _RECEIVER_A:
            return False
        over_a, own_a = total_a - self.mean_a, idle_a - self.mean_a
        return own_a > _IDLES_A and over_a > max(_IDLES * own_a, 8.0 * self._off_a)


class Keying:
    """Asked and no drain current; released and current or power still there; key-down longer than the plan's.

    Readings lag the key by the word's way to the radio and by up to one sample, and a detector may average over
    one sample: nothing is judged in that time after the key was lent or taken back.
    """

    name: ClassVar[str] = "keying"

    def __init__(self, terms: Terms) -> None:
        limits = self._limits = terms.limits
        self._estimates = terms.estimates
        self._no_current = Condition(terms, self.name, "no current", Priority.WARNING, limits.no_current_dwell_s)
        self._stuck = Condition(terms, self.name, "stuck key", Priority.TRIP, limits.stuck_key_dwell_s)
        self._long = Condition(terms, self.name, "long key-down", Priority.TRIP, 0.0)
        self._rest = Rest()
        self._idles_since_s = inf
        self._idle_a = 0.0  # keyed as the plan has it, without drive
        self._judging = False

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame."""
        currents = self._estimates.currents
        forward = forward_w(frame)
        total_a = sum([a for a in currents if a == a])  # noqa: PLR0124  nan
        whole = bool(currents) and total_a == sum(currents)
        told = whole or forward == forward  # noqa: PLR0124  nan
        self._judging = self._judging or told
        said = NOTHING
        if frame.clock_s - now.asked_since_s > self._limits.key_lag_s + now.sample_s:
            if not now.key_asked:
                if whole:
                    self._rest.feed(total_a)
                said = self._released(frame, now, total_a, forward, told)
            elif now.soaking:
                if now.drive is Drive.IDLE and whole:
                    self._idle_a += (total_a - self._idle_a) * _FOLLOWS
                said = self._asked(frame, now, total_a if whole else NAN, forward)
        if now.soaking and (self._estimates.keyed.keyed or not self._long.quiet):
            said = [*said, *self._key_down(frame, now)]
        return said

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no current: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Judges from the first frame with drain currents or forward power on."""
        return JUDGING if self._judging else not_yet("neither drain current nor forward power has come")

    def _released(self, frame: Frame, now: Situation, total_a: float, forward: float, told: bool) -> Sequence[Finding]:
        limit_a = rest_a(self._estimates.drains_known, self._limits)
        current, power = total_a > limit_a, forward > self._limits.rest_forward_w
        word = frame.values[KEY] > 0.5
        idles = self._idles_on(frame.clock_s, total_a)
        current = current or idles
        if idles:
            limit_a = round(self._rest.mean_a + _IDLES * (self._idle_a - self._rest.mean_a), 2)
        holds = True if current or power or word else (False if told else None)
        event = self._stuck.judge(holds, frame.clock_s, now.sample_s)
        if event is None:
            return NOTHING
        since_s = frame.clock_s - now.asked_since_s
        if current or not (power or word):
            value, limit, unit, shows = total_a, limit_a, "A", f"{ampere(total_a)} of drain current"
        elif power:
            value, limit, unit = forward, self._limits.rest_forward_w, "W"
            shows = f"{watt(forward)} of forward power"
        else:
            value, limit, unit, shows = 1.0, 0.0, "boolean", "the node's own word that it is keyed"
        if event is Event.RETURNED:
            text = f"the key is up: {ampere(total_a)} of drain current, within the limit of {ampere(limit)}"
        else:
            bound = f", over the limit of {limit:g} {unit}," if unit != "boolean" else ""
            text = f"stuck key: {shows}{bound} {since_s:.1f} s after the key was taken back: {_STUCK}"
        return [self._stuck.finding(event, frame.time_ns, text, unit=unit, value=value, limit=limit)]

    def _idles_on(self, clock_s: float, total_a: float) -> bool:
        if not self._rest.idles(total_a, self._idle_a):
            self._idles_since_s = inf
            return False
        self._idles_since_s = min(self._idles_since_s, clock_s)
        return clock_s - self._idles_since_s >= _IDLES_S

    def _asked(self, frame: Frame, now: Situation, total_a: float, forward: float) -> Sequence[Finding]:
        flows: bool | None
        if self._estimates.drains.known:
            devices = self._estimates.drains_known
            # a small idle current is one, where the sensors' own zero is known
            least_a = min(self._limits.rest_device_a * devices, self._rest.flows_a(_FLOWS_A * devices))
            value, limit, unit, shows = total_a, least_a, "A", ampere
            flows = None if total_a != total_a else total_a > limit  # noqa: PLR0124  nan
            if forward > self._limits.rest_forward_w:
                flows = True
        else:
            # without any current only power can tell, and at idle there is none to see
            value, limit, unit, shows = forward, self._limits.rest_forward_w, "W", watt
            flows = None if forward != forward or now.drive is Drive.IDLE else forward > limit  # noqa: PLR0124  nan
        event = self._no_current.judge(None if flows is None else not flows, frame.clock_s, now.sample_s)
        if event is None:
            return NOTHING
        what = "drain current" if unit == "A" else "forward power"
        if event is Event.RETURNED:
            text = f"{what} flows: {shows(value)}, over the {shows(limit)} that count as none"
        else:
            since_s = frame.clock_s - now.asked_since_s
            text = (
                f"no {what}: {shows(value)}, within the {shows(limit)} that count as none, "
                f"{since_s:.1f} s after the key was lent: {_NO_CURRENT}"
            )
        return [self._no_current.finding(event, frame.time_ns, text, unit=unit, value=value, limit=limit)]

    def _key_down(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        # a phase that begins keyed has its own key-down: what went before belongs to the phase before
        since_s = max(self._estimates.keyed.key_since_s, now.phase_since_s)
        held_s = frame.clock_s - since_s if self._estimates.keyed.keyed else 0.0
        limit_s = now.on_limit_s + self._limits.key_down_margin_s + now.sample_s
        event = self._long.judge(held_s > limit_s, frame.clock_s, now.sample_s)
        if event is None:
            return NOTHING
        if event is Event.RETURNED:
            text = f"the key is up; the plan's key-down is {now.on_limit_s:g} s"
        else:
            text = f"keyed for {held_s:.1f} s, where the plan has {now.on_limit_s:g} s at a time: {_LONG}"
        return [self._long.finding(event, frame.time_ns, text, unit="s", value=held_s, limit=now.on_limit_s)]


def stuck_key_known_s(limits: Limits, sample_s: float) -> float:
    """The longest time, s, from taking the key back to the call of a stuck key, while packs come as they should."""
    return limits.key_lag_s + 2 * sample_s + max(limits.stuck_key_dwell_s, sample_s) + sample_s
