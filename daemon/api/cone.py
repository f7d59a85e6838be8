"""The forecast ahead of the trace, as the soak strip draws it: a cone that widens towards what the fit expects."""

from math import exp, isfinite

from alerts.figures import Figures
from daemon.bay import Bay
from sensors.types import HEATSINK

#: points of the cone; it is smooth
POINTS = 12
#: the band of 95 %, in standard deviations
BAND_SD = 2.0


def cone(bay: Bay, figures: Figures) -> list[tuple[float, float, float, float]]:
    """(elapsed_s, low, middle, high) in °C from now to the end of this phase; empty where nothing can be said.

    The heatsink approaches its forecast peak as ``e^(-t/tau)`` (the heating curve of a single pole, JESD51); the band
    opens likewise, from nothing at the reading that is there to the forecast's own at the end.
    """
    course, frame = bay.course, bay.last
    peak_c, tau_s, sd_k = figures.forecast_peak_c, figures.heatsink_tau_s, figures.forecast_sd_k
    if not (bay.lent and course and frame) or peak_c is None or tau_s is None or sd_k is None or not tau_s > 0:
        return []
    now_c, now_s = frame.values[HEATSINK], course.elapsed_s
    phase = course.moment.phase
    starts = course.plan.starts_s
    end_s = starts[phase + 1] if phase + 1 < len(starts) else course.plan.total_s
    if not (isfinite(now_c) and end_s > now_s):
        return []
    span_s = end_s - now_s
    # the forecast is where this key-down (or its settled cycle) ends: the curve is scaled to be there by then
    whole = 1.0 - exp(-span_s / tau_s)
    points = []
    for i in range(POINTS + 1):
        ahead_s = span_s * i / POINTS
        part = (1.0 - exp(-ahead_s / tau_s)) / whole
        middle_c = now_c + (peak_c - now_c) * part
        half_k = BAND_SD * sd_k * part
        points.append(
            (round(now_s + ahead_s, 1), round(middle_c - half_k, 2), round(middle_c, 2), round(middle_c + half_k, 2))
        )
    return points
