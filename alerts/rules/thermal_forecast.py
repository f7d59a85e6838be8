"""``thermal-forecast``: where the heatsink is going, by the fitted heat balance, long before it is there."""

from collections.abc import Sequence
from math import inf
from typing import ClassVar

from alerts.heatsink import Forecast
from alerts.types import JUDGING, Event, Finding, Priority, Situation, Standing, not_applicable, not_yet
from alerts.watch import NOTHING, Condition, Terms, celsius
from sensors.types import FORWARD, Frame, Quality

#: seconds between two forecasts: the heat balance itself moves no faster
_EVERY_S = 5.0
#: a forecast that leaves time is looked at for this part of that time, and no longer than this, s, before it is said
_PATIENT, _PATIENT_S = 0.1, 120.0
#: within this of the limit the forecast is normal again, K; common practice, no source
_DEADBAND_K = 3.0


class ThermalForecast:
    """A forecast over the limit is a warning when cooling is worse than this unit has had it, or the limit is near.

    A heatsink whose thermostatic fan has not come on yet is forecast to overheat as well; but its cooling is not
    worse than it was, and its limit is not near.
    """

    name: ClassVar[str] = "thermal-forecast"

    def __init__(self, terms: Terms) -> None:
        limits = self._limits = terms.limits
        self._estimates = terms.estimates
        self._warning = Condition(terms, self.name, "peak", Priority.WARNING, limits.forecast_dwell_s)
        self._trip = Condition(terms, self.name, "time", Priority.TRIP, limits.forecast_dwell_s)
        self._next_s = -inf
        self._last_s = self._over_s = 0.0
        self._frames = 0
        self._measured = False
        self.forecast: Forecast | None = None

    def step(self, frame: Frame, now: Situation) -> Sequence[Finding]:
        """Judge one frame."""
        self._frames += 1
        if frame.clock_s < self._next_s:
            return NOTHING
        if frame.quality[FORWARD] != Quality.MISSING:
            self._measured = True
        passed_s = frame.clock_s - self._last_s
        self._last_s = frame.clock_s
        self._next_s = frame.clock_s + _EVERY_S
        if not self._estimates.keyed.keyed:
            return NOTHING
        limit_c = self._limits.heatsink_c
        forecast = self.forecast = self._estimates.sink.forecast(limit_c, now.on_limit_s)
        if forecast is None:
            return NOTHING
        worse = self._estimates.sink.cooling.worse
        peak_c = forecast.least_c
        near = forecast.seconds < self._limits.forecast_horizon_s
        over = peak_c > limit_c and (worse or near) and forecast.seen
        self._over_s = self._over_s + min(passed_s, 2 * _EVERY_S) if over else 0.0
        over = self._over_s > min(_PATIENT * forecast.seconds, _PATIENT_S) - self._limits.forecast_dwell_s and over
        said: list[Finding] = []
        back = peak_c < limit_c - _DEADBAND_K
        event = self._warning.judge_band(over, back, frame.clock_s, min(passed_s, 2 * _EVERY_S))
        if event is not None:
            text = self._text(event, forecast, worse)
            said.append(
                self._warning.finding(event, frame.time_ns, text, unit="Cel", value=forecast.peak_c, limit=limit_c)
            )
        if self._warning.raised or not self._trip.quiet:
            said += self._reserve(frame, forecast, passed_s)
        return said

    def tick(self, clock_s: float, time_ns: int, now: Situation) -> Sequence[Finding]:
        """No frame, no forecast: link-lost watches for that."""
        return NOTHING

    def standing(self) -> Standing:
        """Needs dissipation, and minutes of heating to know the heatsink by."""
        if self.forecast is not None:
            return JUDGING
        if self._frames and self._estimates.drains_known == 0:
            return not_applicable("without a drain current the dissipation is not known")
        if self._frames and not self._measured:
            return not_applicable("without forward power the dissipation is not known")
        return not_yet("the heatsink has not been heated long enough to know its heat capacity and its cooling")

    def _reserve(self, frame: Frame, forecast: Forecast, passed_s: float) -> list[Finding]:
        reserve_s = self._limits.forecast_reserve_s
        event = self._trip.judge(forecast.seconds < reserve_s, frame.clock_s, min(passed_s, 2 * _EVERY_S))
        if event is None:
            return []
        left_s = forecast.seconds
        if event is Event.RETURNED:
            text = "the heatsink's limit is further off again"
        else:
            text = (
                f"the heatsink will be at its limit of {celsius(self._limits.heatsink_c)} in {left_s:.0f} s, under the "
                f"reserve of {reserve_s:g} s for {self._trip.lasted}: look at the fan and the air around the heatsink"
            )
        return [self._trip.finding(event, frame.time_ns, text, unit="s", value=left_s, limit=reserve_s)]

    def _text(self, event: Event, forecast: Forecast, worse: bool) -> str:
        limit = celsius(self._limits.heatsink_c)
        if event is Event.RETURNED:
            return f"the heatsink's forecast peak is {celsius(forecast.peak_c)}, within the limit of {limit}"
        when = f"in about {forecast.seconds / 60:.0f} min" if forecast.seconds < inf else "before this phase ends"
        why = "cooling is worse than it was: look at the fan and the air around the heatsink"
        if not worse:
            why = "look at the radio's power and currents, the fan, and the plan's duty"
        return (
            f"the heatsink goes to {celsius(forecast.peak_c)} (give or take {2 * forecast.sd_k:.1f} K) and meets its "
            f"limit of {limit} {when}, as it has been going for {self._warning.lasted}: {why}"
        )
