"""Bands of the good units of one kind and lot, the units outside them, and a slow drift from one unit to the next.

A poor or counterfeit device shows as a high thermal resistance or an odd temperature coefficient long before it fails.
Each unit is judged by the others, not by a band that it has itself pulled towards it.
"""

from collections.abc import Sequence
from math import isfinite
from statistics import median

from alerts.estimators.ewma import Ewma
from daemon.api.lot_models import LEAST_UNITS, Band, LotView, Outside, Trend, UnitFigure

#: figure of a job -> unit, and what a unit outside the band is suspected of
FIGURES: dict[str, tuple[str, str]] = {
    "heatsink_k_per_w": ("K/W", "a dry or missing thermal pad, loose screws, or a heatsink that is not the usual one"),
    "case_k_per_w": ("K/W", "a dry thermal pad or loose screws under one device, or a poor device"),
    "idle_per_k_a": ("A/K", "a device of another type than its mark says, or a bias that is not compensated"),
    "idle_25c_a": ("A", "a gate bias that was set otherwise"),
    "forward_mean_w": ("W", "drive, alignment or a weak device"),
    "efficiency_ratio": ("1", "a device of another type than its mark says, or a stage that is out of tune"),
    "watts_per_ampere_w_a": ("W/A", "a device of another type than its mark says, or a stage that is out of tune"),
}
#: MAD of a normal distribution to its standard deviation, 1/Phi^-1(3/4); robust against the very unit looked for
MAD_TO_SD = 1.4826
#: a unit so many standard deviations out is pointed out; common practice, no source
OUT_SD = 4.0
#: a median absolute deviation of few units is itself poorly known: the limit is wider by this over their number
#: (found by simulation, tests/daemon/test_lots.py: of lots of 20 sound units fewer than 2 in 100 have one pointed out)
FEW = 6.0
#: EWMA over successive units: weight and limits of the e-Handbook's example (6.3.2.4)
EWMA_SHARE, EWMA_SD = 0.3, 3.0


class Unit:
    """One soaked unit: its job, what it is called, whether it passed, and its figures by name."""

    __slots__ = ("figures", "job", "passed", "unit")

    def __init__(self, job: int, unit: str, passed: bool, figures: dict[str, float]) -> None:
        self.job, self.unit, self.passed = job, unit, passed
        self.figures = {name: value for name, value in figures.items() if isfinite(value)}


def judge(kind: str, device_type: str, lot: str, units: Sequence[Unit]) -> LotView:
    """What ``units``, the oldest first, tell together."""
    view = LotView(kind=kind, device_type=device_type, lot=lot, units=len(units), passed=sum(u.passed for u in units))
    for figure, (unit_of, suspicion) in FIGURES.items():
        have = [u for u in units if figure in u.figures]
        good = [u for u in have if u.passed]
        if len(good) < LEAST_UNITS:
            view.not_judged[figure] = f"{len(good)} good units have it, and {LEAST_UNITS} are needed"
            continue
        middle, sd = spread([u.figures[figure] for u in good])
        half = out_sd(len(good)) * sd
        marks = [UnitFigure(job=u.job, unit=u.unit, value=u.figures[figure], passed=u.passed) for u in have]
        band = Band(
            figure=figure, unit=unit_of, low=middle - half, middle=middle, high=middle + half, sd=sd, units=marks
        )
        view.bands.append(band)
        for each in have:
            others = [u.figures[figure] for u in good if u is not each]
            if len(others) >= LEAST_UNITS - 1:
                view.outside += _outside(each, figure, unit_of, suspicion, others)
        view.trends += _trend(figure, [u.figures[figure] for u in good], [u.job for u in good], middle, sd)
    view.outside.sort(key=lambda o: -abs(o.sd_out))
    return view


def out_sd(units: int) -> float:
    """How many standard deviations from ``units`` others a unit must stand to be pointed out."""
    return OUT_SD * (1.0 + FEW / units)


def spread(values: Sequence[float]) -> tuple[float, float]:
    """Median, and a standard deviation from the median absolute deviation; never narrower than 1 % of the median.

    The floor keeps units that happen to agree from being told apart by less than any meter of the bench resolves.
    """
    middle = median(values)
    sd = MAD_TO_SD * median(abs(v - middle) for v in values)
    return middle, max(sd, 0.01 * abs(middle), 1e-12)


def _outside(each: Unit, figure: str, unit_of: str, suspicion: str, others: Sequence[float]) -> list[Outside]:
    middle, sd = spread(others)
    value = each.figures[figure]
    out = (value - middle) / sd
    if abs(out) <= out_sd(len(others)):
        return []
    side = "over" if out > 0 else "under"
    sign = "" if unit_of == "1" else f" {unit_of}"
    text = (
        f"{each.unit or f'job {each.job}'}: {figure} is {value:.3g}{sign}, {side} the {middle:.3g}{sign} "
        f"of the other good units by {abs(out):.1f} of their standard deviations: suspect {suspicion}"
    )
    return [Outside(job=each.job, unit=each.unit, figure=figure, value=value, middle=middle, sd_out=out, text=text)]


def _trend(figure: str, values: Sequence[float], jobs: Sequence[int], middle: float, sd: float) -> list[Trend]:
    chart = Ewma(EWMA_SHARE, middle)
    for value, job in zip(values, jobs, strict=True):
        average = chart.feed(value)
        limit = EWMA_SD * sd * chart.sd_factor
        if abs(average - middle) > limit:
            way = "up" if average > middle else "down"
            text = f"{figure} has been going {way} from unit to unit; it left its control limits at job {job}"
            return [Trend(figure=figure, job=job, average=average, limit=limit, text=text)]
    return []
