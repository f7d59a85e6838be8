"""All rules of one bay: a frame in, findings out, and the one trip."""

from collections.abc import Sequence

from alerts.estimates import Estimates
from alerts.figures import Figures, figures
from alerts.limits import Limits
from alerts.rules import ALL, BETWEEN_SOAKS
from alerts.rules.bias_drift import BiasDrift
from alerts.rules.thermal_forecast import ThermalForecast
from alerts.rules.thermal_runaway import ThermalRunaway
from alerts.types import Event, Finding, Priority, Rule, Situation, Standing, not_yet
from alerts.watch import Terms
from sensors.types import Frame


class Judge:
    """Judges one bay through one soak, and what comes after it until the next.

    Made anew for each soak: a rule's memory belongs to one soak of one unit. Between soaks only the rules of
    ``BETWEEN_SOAKS`` are asked; what the others had raised stands as the soak left it. The first finding of
    priority trip is followed, once, by the finding of the trip itself.
    """

    def __init__(self, bay: str, limits: Limits, lease_s: float = 3.0) -> None:
        self._estimates = Estimates(limits)
        self._junction_k_per_w = limits.junction_k_per_w
        terms = Terms(bay, limits, lease_s, self._estimates)
        self._rules: tuple[Rule, ...] = tuple(make(terms) for make in ALL)
        self._between = tuple(rule for rule in self._rules if rule.name in BETWEEN_SOAKS)
        self._soaking = False
        self._tripped = False
        self._standing: dict[tuple[str, str, Priority], Finding] = {}

    def step(self, frame: Frame, now: Situation) -> list[Finding]:
        """Judge one frame; findings in the order in which they are to be acted on."""
        self._soaking = now.soaking
        self._estimates.see(frame)
        if now.soaking:
            self._estimates.look(frame, now)
        said: list[Finding] = []
        for rule in self._rules if now.soaking else self._between:
            found = rule.step(frame, now)
            if found:
                said.extend(found)
        return self._keep(said) if said else said

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> list[Finding]:
        """Judge the passing of time where no frame came."""
        self._soaking = now.soaking
        said: list[Finding] = []
        for rule in self._rules if now.soaking else self._between:
            found = rule.tick(clock_s, time_ns, now)
            if found:
                said.extend(found)
        return self._keep(said) if said else said

    def figures(self) -> Figures:
        """The derived figures for the screen: heatsink, loop gain, forecast, idle current, junction estimate."""
        forecast = gain = idle = None
        for rule in self._rules:
            if isinstance(rule, ThermalForecast):
                forecast = rule.forecast
            elif isinstance(rule, ThermalRunaway):
                gain = rule.gain
            elif isinstance(rule, BiasDrift):
                idle = rule.idle
        return figures(self._estimates, forecast, gain, idle, self._junction_k_per_w)

    def standings(self) -> dict[str, Standing]:
        """Whether each rule can judge this bay, and why not."""
        return {
            rule.name: rule.standing() if self._soaking or rule.name in BETWEEN_SOAKS else not_yet("no soak is running")
            for rule in self._rules
        }

    def standing_alerts(self) -> list[Finding]:
        """What was raised and has not returned, in the order in which it was raised."""
        return list(self._standing.values())

    def _keep(self, said: Sequence[Finding]) -> list[Finding]:
        kept: list[Finding] = []
        for finding in said:
            kept.append(finding)
            alert = (finding.rule, finding.subject, finding.priority)
            if finding.event is Event.RETURNED:
                self._standing.pop(alert, None)
                continue
            self._standing[alert] = finding
            if finding.priority is Priority.TRIP and not self._tripped:
                self._tripped = True
                kept.append(
                    Finding(
                        finding.time_ns,
                        finding.bay,
                        finding.rule,
                        Event.TRIP,
                        Priority.TRIP,
                        finding.value,
                        finding.limit,
                        finding.unit,
                        f"unkeyed: {finding.text}",
                        finding.subject,
                    )
                )
        return kept
