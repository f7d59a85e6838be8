"""Figures against their limits with what is not known of them: guarded acceptance, the guard band as wide as U.

JCGM 106:2012, 8.3.2, with the guard band w = U = 2 u of ISO 14253-1 (clauses from memory). What is proven is within
its limit by U at the least; what is nearer than that, or beyond, is not proven, and never a pass.
"""

from collections.abc import Mapping
from enum import StrEnum
from math import hypot, inf, isfinite, sqrt
from typing import NamedTuple

#: how many standard uncertainties an expanded one is, for about 95 % (JCGM 100:2008, 6.3)
COVERAGE_FACTOR = 2
#: the rule as it is told to whoever reads a verdict
DECISION_RULE = (
    "Decision rule: a figure is accepted only where it is within its limit by its expanded uncertainty U (k = 2, about "
    "95 %) or more: guarded acceptance with a guard band as wide as U (JCGM 106, ISO 14253-1). Inside the guard band "
    "nothing is proven, and the soak is incomplete. A figure without a known uncertainty is judged as read."
)
_WORDS = {"heatsink_max_c": ("heatsink", "°C", 1), "swr_max": ("SWR", "", 2), "supply_min_v": ("supply", "V", 2)}


class Ruling(StrEnum):
    """What the rule says of a figure."""

    PROVEN = "within its limit"
    NOT_PROVEN = "not proven: inside the guard band"
    BEYOND = "read beyond its limit"


class Bound(NamedTuple):
    """A limit of a figure: the most or the least that it may be; ``limit`` is its name among the limits."""

    limit: str
    value: float
    upper: bool


class Judged(NamedTuple):
    """A figure that has a limit; ``expanded`` is U in the figure's unit, None where it is not known."""

    figure: str
    value: float
    bound: Bound
    expanded: float | None
    ruling: Ruling

    @property
    def text(self) -> str:
        """The figure, its limit and what it means, as a sentence."""
        name, unit, places = _words(self.figure)
        value, limit = (f"{v:.{places}f} {unit}".rstrip() for v in (self.value, self.bound.value))
        about = "" if self.expanded is None else f" ± {_rounded(self.expanded, places)} {unit}".rstrip() + " (k = 2)"
        return f"{name} {value}{about}, limit {limit}: {self.ruling}"


def bound_of(figure: str, figures: Mapping[str, float], limits: Mapping[str, float]) -> Bound | None:
    """The limit that a figure of ``alerts.verdict`` must be within; None where it has none."""
    name, upper = {
        "heatsink_max_c": ("heatsink_c", True),
        "swr_max": ("swr", True),
        "supply_min_v": ("supply_min_v", False),
    }.get(figure, ("", True))
    if figure in _drains(figures):
        # a lone drain-1 may be the radio's whole current (the contract)
        name = "device_a" if len(_drains(figures)) > 1 else "total_a"
    return Bound(name, limits[name], upper) if name in limits else None


def judge(figures: Mapping[str, float], limits: Mapping[str, float], expanded: Mapping[str, float]) -> list[Judged]:
    """Every figure that has a limit. ``expanded`` is U by figure; one that is missing or nan is not known."""
    found = []
    for figure, value in figures.items():
        bound = bound_of(figure, figures, limits)
        if bound is None:
            continue
        given = expanded.get(figure)
        known = None if given is None or given != given else abs(given)  # noqa: PLR0124  nan
        room = bound.value - value if bound.upper else value - bound.value
        found.append(Judged(figure, value, bound, known, _ruling(room, known or 0.0)))
    return found


def _ruling(room: float, band: float) -> Ruling:
    if not room >= 0.0:
        return Ruling.BEYOND
    return Ruling.PROVEN if room >= band else Ruling.NOT_PROVEN


def doubts(figures: Mapping[str, float], limits: Mapping[str, float], expanded: Mapping[str, float]) -> list[str]:
    """A reason against a pass for each figure of known uncertainty that is not proven; none where all are.

    A figure of unknown uncertainty was judged as read already, by the rules, which let a single bad sample pass.
    """
    said = []
    for one in judge(figures, limits, expanded):
        if one.expanded is not None and one.ruling is not Ruling.PROVEN:
            said.append(f"{one.text}; calibrate better, or soak with more room to the limit")
    return said


def of_figures(figures: Mapping[str, float], channels: Mapping[str, float]) -> dict[str, float]:
    """U of each figure from U of the channels that it was read on (at that reading), k = 2 throughout."""
    known: dict[str, float] = {}
    plain = {"heatsink_max_c": "heatsink", "supply_min_v": "supply", "forward_mean_w": "forward"}
    plain |= {f"drain_{i}_max_a": f"drain-{i}" for i in (1, 2, 3, 4)}
    for figure, channel in plain.items():
        if figure in figures and channel in channels:
            known[figure] = channels[channel]
    both = [channels.get(name) for name in ("forward", "reflected")]
    if "swr_max" in figures and "forward_mean_w" in figures and both[0] is not None and both[1] is not None:
        known["swr_max"] = swr_expanded(figures["swr_max"], figures["forward_mean_w"], both[0], both[1])
    return known


def swr_expanded(swr: float, forward_w: float, u_forward_w: float, u_reflected_w: float) -> float:
    """U of an SWR from those of forward and reflected power, by finite differences towards the worse side, as the law
    of propagation has no slope at a perfect match (J. Kragten, Analyst 119 (1994) 2161; from memory)."""
    reflected_w = forward_w * ((swr - 1.0) / (swr + 1.0)) ** 2
    steps = (_swr(forward_w, reflected_w + u_reflected_w), _swr(forward_w - u_forward_w, reflected_w))
    parts = [step - swr for step in steps]
    return hypot(*parts) if all(isfinite(part) for part in parts) else inf


def _swr(forward_w: float, reflected_w: float) -> float:
    if not 0.0 <= reflected_w < forward_w:
        return inf
    gamma = sqrt(reflected_w / forward_w)
    return (1.0 + gamma) / (1.0 - gamma)


def _drains(figures: Mapping[str, float]) -> list[str]:
    return [name for name in figures if name.startswith("drain_") and name.endswith("_max_a")]


def _words(figure: str) -> tuple[str, str, int]:
    if figure in _WORDS:
        return _WORDS[figure]
    return f"drain {figure.split('_')[1]}", "A", 2


def _rounded(expanded: float, places: int) -> str:
    # up, never down: what is printed must not be less than what was judged by
    if not isfinite(expanded):
        return "more than can be told"
    step = 10.0**-places
    text = f"{expanded:.{places}f}"
    return text if float(text) >= expanded else f"{expanded + step / 2:.{places}f}"
