"""One figure of a bay against its steps: the warning and the trip, and the sentence that each says."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from alerts.dwell import Dwell
from alerts.estimates import Estimates
from alerts.limits import Limits
from alerts.types import Event, Finding, Priority
from sensors.types import NAN

Tell = Callable[[Event, float, float, float], str]
"""(event, figure, limit, how long it has held in s) -> the sentence."""

NOTHING: Sequence[Finding] = ()


class Terms(NamedTuple):
    """What a rule is made from: whose bay, by which limits, under how long a lease, with whose estimates."""

    bay: str
    limits: Limits
    lease_s: float
    estimates: Estimates


class Step(NamedTuple):
    """One limit of a figure and what crossing it means."""

    priority: Priority
    limit: float
    dwell_s: float


class Watch:
    """Holds one figure against its steps, mildest first. Each finding raised has, sooner or later, its own return."""

    __slots__ = ("_bay", "_calm", "_quiet", "_rule", "_sign", "_steps", "_subject", "_tell", "_unit")

    def __init__(
        self,
        terms: Terms,
        rule: str,
        subject: str,
        *,
        unit: str,
        steps: Sequence[Step],
        tell: Tell,
        deadband: float,
        below: bool = False,
    ) -> None:
        self._bay, self._rule, self._subject, self._unit, self._tell = terms.bay, rule, subject, unit, tell
        off_s = terms.limits.off_delay_s
        self._steps = [(s, Dwell(s.limit, deadband, s.dwell_s, off_s, below=below)) for s in steps]
        self._sign = -1.0 if below else 1.0
        self._calm = min(s.limit * self._sign for s in steps)
        self._quiet = True

    def judge(self, value: float, clock_s: float, time_ns: int, sample_s: float) -> Sequence[Finding]:
        """Take one sample of the figure, ``nan`` where there is none."""
        if self._quiet and not value * self._sign > self._calm:
            return NOTHING
        said: list[Finding] = []
        for step, dwell in self._steps:
            event = dwell.feed(value, clock_s, sample_s)
            if event is not None:
                said.append(
                    Finding(
                        time_ns,
                        self._bay,
                        self._rule,
                        event,
                        step.priority,
                        value,
                        step.limit,
                        self._unit,
                        self._tell(event, value, step.limit, dwell.lasted_s),
                        self._subject,
                    )
                )
        self._quiet = all(dwell.quiet for _, dwell in self._steps)
        return said


class Condition:
    """Something that holds or does not, against one step; what is said of it is the rule's own."""

    __slots__ = ("_bay", "_dwell", "_priority", "_rule", "_subject")

    def __init__(self, terms: Terms, rule: str, subject: str, priority: Priority, dwell_s: float) -> None:
        self._bay, self._rule, self._subject, self._priority = terms.bay, rule, subject, priority
        self._dwell = Dwell(0.5, 0.0, dwell_s, terms.limits.off_delay_s)

    @property
    def quiet(self) -> bool:
        """Nothing raised, and nothing about to be."""
        return self._dwell.quiet

    @property
    def raised(self) -> bool:
        """Raised, and not returned."""
        return self._dwell.raised

    @property
    def lasted(self) -> str:
        """How long what was raised, or what is normal again, has held: for the sentence that says so."""
        return span(self._dwell.lasted_s)

    def judge(self, holds: bool | None, clock_s: float, sample_s: float) -> Event | None:
        """Take one sample; None where it does not tell."""
        return None if holds is None else self._dwell.feed(float(holds), clock_s, sample_s)

    def judge_band(self, beyond: bool, back: bool, clock_s: float, sample_s: float) -> Event | None:
        """Take one sample of a figure that must be ``back``, not merely no longer ``beyond``, to be normal again."""
        return self.judge(beyond or (None if self.raised and not back else False), clock_s, sample_s)

    def finding(
        self, event: Event, time_ns: int, text: str, *, unit: str, value: float = NAN, limit: float = NAN
    ) -> Finding:
        """The finding that says so."""
        return Finding(time_ns, self._bay, self._rule, event, self._priority, value, limit, unit, text, self._subject)


def sentence(what: str, show: Callable[[float], str], look: str, *, below: bool = False) -> Tell:
    """The usual sentence: figure, limit, since when, what to look at. ``show`` writes a figure with its unit."""
    beyond, within = ("under", "over") if below else ("over", "within")

    def tell(event: Event, value: float, limit: float, for_s: float) -> str:
        if event is Event.RETURNED:
            return f"{what} is back at {show(value)}, {within} the limit of {show(limit)}"
        return f"{what} is {show(value)}, {beyond} the limit of {show(limit)} for {span(for_s)}: {look}"

    return tell


def celsius(value: float) -> str:
    """A temperature as a person reads it."""
    return f"{value:.1f} °C"


def ampere(value: float) -> str:
    """A current as a person reads it."""
    return f"{value:.2f} A"


def volt(value: float) -> str:
    """A voltage as a person reads it."""
    return f"{value:.2f} V"


def watt(value: float) -> str:
    """A power as a person reads it."""
    return f"{value:.1f} W"


def span(seconds: float) -> str:
    """A time as a person reads it."""
    if seconds < 9.95:
        return f"{seconds:.1f} s"
    return f"{seconds:.0f} s" if seconds < 119.5 else f"{seconds / 60.0:.0f} min"


def percent(value: float) -> str:
    """A ratio as a person reads it: a limit of 1.5 % is none of 2 %."""
    return f"{100 * value:.2g} %" if abs(value) < 0.095 else f"{100 * value:.0f} %"
