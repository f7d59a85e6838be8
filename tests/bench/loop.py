"""The fixed-limit loop that a bench would otherwise write, with the limits of the issue: the yardstick."""

from math import isnan, log10, sqrt

from daemon.plan import Plan
from sensors.types import DRAINS, FORWARD, HEATSINK, REFLECTED, SUPPLY, Drive, Frame

#: condition -> the rules that say the same, and how long it must last, s
SAYS: dict[str, tuple[frozenset[str], float]] = {
    "heatsink": (frozenset({"over-temperature", "thermal-forecast", "thermal-runaway"}), 3.0),
    "imbalance": (frozenset({"current-imbalance", "bias-drift"}), 10.0),
    "fade": (frozenset({"power-fade"}), 10.0),
    "swr": (frozenset({"reflected-power"}), 3.0),
    "supply": (frozenset({"supply"}), 5.0),
    "current": (frozenset({"over-current"}), 1.0),
    "sensor": (frozenset({"sensor-fault"}), 3.0),
}


class FixedLoop:
    """Feed it every frame; ``called`` has the time of each condition's first alert."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._since: dict[str, float] = {}
        self._keyed_s = 0.0
        self._last_s = 0.0
        self._reference: dict[Drive, list[float]] = {}
        self.called: dict[str, float] = {}

    def feed(self, frame: Frame) -> None:
        """Take one frame."""
        at_s = frame.clock_s
        v = frame.values
        moment = self._plan.at(at_s)
        self._keyed_s = self._keyed_s + at_s - self._last_s if moment.key else 0.0
        self._last_s = at_s
        settled = self._keyed_s > 3.0
        drains = [a for a in v[DRAINS] if not isnan(a)]
        forward = v[FORWARD]
        driven = settled and moment.drive not in (Drive.OFF, Drive.IDLE) and forward > 1.0
        holds = {
            "heatsink": v[HEATSINK] > 75.0,
            "sensor": not -20.0 <= v[HEATSINK] <= 130.0,
            "current": sum(drains) > 8.0,
            "supply": settled and v[SUPPLY] < 12.5,
            "imbalance": driven and len(drains) > 1 and (max(drains) - min(drains)) * len(drains) > 0.25 * sum(drains),
            "swr": driven and _swr(forward, v[REFLECTED]) > 2.0,
            "fade": driven and self._fades(moment.drive, forward),
        }
        for name, on in holds.items():
            if not on:
                self._since.pop(name, None)
                continue
            since_s = self._since.setdefault(name, at_s)
            if at_s - since_s >= SAYS[name][1] and name not in self.called:
                self.called[name] = at_s

    def _fades(self, drive: Drive, forward_w: float) -> bool:
        if drive is Drive.MODULATED:
            return False
        reference = self._reference.setdefault(drive, [])
        if len(reference) < 10:
            reference.append(forward_w)
            return False
        return 10 * log10(forward_w / (sum(reference) / 10)) < -0.5


def _swr(forward_w: float, reflected_w: float) -> float:
    gamma = sqrt(max(reflected_w, 0.0) / forward_w) if not isnan(reflected_w) else 0.0
    return (1 + gamma) / (1 - gamma) if gamma < 1 else 99.0
