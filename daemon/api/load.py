"""What a plan will ask of the radio and of its dummy load, estimated from typical figures that a person enters.

Estimates and no measurements: they say whether a plan can be right for a load before anything is keyed. The mean power
of two tones is half of their peak envelope power (ITU Radio Regulations No. 1.157 and 1.158); an ideal class-B
amplifier then draws 2/pi of the current that it draws at that peak (textbook result, from memory). A modulated signal
counts as a full carrier, which no modulation of the same peak exceeds.
"""

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from daemon.api.load_models import Estimate, PhasePower, Typical
from daemon.api.models import PhaseView, PlanView
from daemon.errors import Refused

#: shorter cycles than this many in one window are as good as their mean
_MOST_STEPS = 20_000


class Step(NamedTuple):
    """A stretch of constant power."""

    lasts_s: float
    load_w: float
    heat_w: float


#: without a short-time rating the load is judged by its mean over so long: a load's own time constant is of minutes
#: (common practice, no source)
WINDOW_S = 300.0


def estimate(plan: PlanView, typical: Typical) -> Estimate:
    """What ``plan`` asks of a radio and a load with these figures."""
    steps = [step for phase in plan.phases for step in _steps(phase, typical)]
    window_s = typical.load_short_min * 60 if typical.load_short_min else WINDOW_S
    energy_j = math.fsum(s.lasts_s * s.load_w for s in steps)
    heat_j = math.fsum(s.lasts_s * s.heat_w for s in steps)
    powers = [_powers(phase.drive, typical) for phase in plan.phases]
    made = Estimate(
        key_down_s=math.fsum(s.lasts_s for p in plan.phases for s in _steps(p, typical, whole=True) if s.heat_w > 0),
        dissipation_max_w=max((heat_w for _, heat_w in powers), default=0.0),
        dissipation_mean_w=heat_j / plan.total_s if plan.total_s else 0.0,
        load_max_w=max((load_w for load_w, _ in powers), default=0.0),
        load_mean_w=energy_j / plan.total_s if plan.total_s else 0.0,
        load_worst_w=_worst_mean_w(steps, window_s),
        window_s=window_s,
        load_j=energy_j,
        phases=[PhasePower(load_w=load_w, heat_w=heat_w) for load_w, heat_w in powers],
        problems=[],
    )
    made.problems.extend(_problems(made, typical))
    return made


def must_take(plan: PlanView, typical: Typical) -> None:
    """Refused where the load does not take the plan, or where nobody has said what it takes."""
    if wrong := estimate(plan, typical).problems:
        raise Refused("\n".join(wrong))


def _problems(made: Estimate, typical: Typical) -> Iterator[str]:
    if made.load_max_w == 0:
        return
    if typical.load_w is None:
        yield (
            "Load rating: not known. Before a soak may start, say how many watts the dummy load takes continuously: "
            "once for all in rack.toml ([bay.load] continuous_w), or with this start"
        )
        return
    if (typical.load_short_w is None) != (typical.load_short_min is None):
        yield "Short-time rating: give both its watts and its minutes, or neither"
        return
    most_w = max(typical.load_w, typical.load_short_w or 0.0)
    if made.load_max_w > most_w:
        yield f"Load: {made.load_max_w:.0f} W at once are more than the {most_w:g} W that it takes"
    minutes = made.window_s / 60
    if made.load_worst_w > typical.load_w * 1.0000001:
        yield (
            f"Load: {made.load_worst_w:.0f} W on average over {minutes:g} minutes are more than the "
            f"{typical.load_w:g} W that it takes continuously: rest longer between, or use a larger load"
        )
    if typical.load_j is not None and made.load_j > typical.load_j:
        yield f"Load: {made.load_j / 1e3:.0f} kJ in the whole soak are more than its {typical.load_j / 1e3:g} kJ"


def _powers(drive: str, typical: Typical) -> tuple[float, float]:
    # (into the load, heat in the radio)
    supplied_w = typical.forward_w / (typical.efficiency_percent / 100)
    match drive:
        case "off":
            return 0.0, 0.0
        case "idle":
            return 0.0, typical.idle_w
        case "two-tone":
            return typical.forward_w / 2, supplied_w * 2 / math.pi - typical.forward_w / 2
        case _:
            return typical.forward_w, supplied_w - typical.forward_w


def _steps(phase: PhaseView, typical: Typical, whole: bool = False) -> Iterator[Step]:
    lasts_s = phase.end_s - phase.start_s
    load_w, heat_w = _powers(phase.drive, typical)
    if phase.on_s is None or phase.off_s is None:
        yield Step(lasts_s, load_w, heat_w)
        return
    cycle_s = phase.on_s + phase.off_s
    if not whole and lasts_s / cycle_s > _MOST_STEPS / 2:
        share = phase.on_s / cycle_s
        yield Step(lasts_s, load_w * share, heat_w * share)
        return
    if whole:
        cycles, rest_s = divmod(lasts_s, cycle_s)
        yield Step(cycles * phase.on_s + min(rest_s, phase.on_s), load_w, heat_w)
        return
    left_s = lasts_s
    while left_s > 1e-9:
        on_s = min(phase.on_s, left_s)
        yield Step(on_s, load_w, heat_w)
        left_s -= on_s
        off_s = min(phase.off_s, left_s)
        if off_s > 0:
            yield Step(off_s, 0.0, 0.0)
        left_s -= off_s


def _worst_mean_w(steps: Sequence[Step], window_s: float) -> float:
    """The highest mean over any stretch of ``window_s``: of constant steps it begins or ends at an edge."""
    edges, sums = [0.0], [0.0]
    for step in steps:
        edges.append(edges[-1] + step.lasts_s)
        sums.append(sums[-1] + step.lasts_s * step.load_w)

    def until(at_s: float, index: int) -> float:
        # energy from the start to at_s, which lies in the step that ends at edges[index]
        if index >= len(edges):
            return sums[-1]
        part = edges[index] - edges[index - 1]
        return (
            sums[index - 1] + (sums[index] - sums[index - 1]) * (at_s - edges[index - 1]) / part
            if part
            else sums[index]
        )

    worst_j = 0.0
    after = 0  # first edge that is not before the window's end, as it slides
    for begin, begin_s in enumerate(edges):
        while after < len(edges) and edges[after] < begin_s + window_s:
            after += 1
        worst_j = max(worst_j, until(begin_s + window_s, after) - sums[begin])
    before = 1
    for end, end_s in enumerate(edges):
        while before < len(edges) and edges[before] < end_s - window_s:
            before += 1
        start_j = until(end_s - window_s, before) if end_s > window_s else 0.0
        worst_j = max(worst_j, sums[end] - start_j)
    return worst_j / window_s
