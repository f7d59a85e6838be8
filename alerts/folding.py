"""One cause, one alert: which alert is the mere effect of which, and what a lost link makes unknowable.

An alert is folded under another of the same bay when the other came first (or presses more), is no less pressing, is a
plain cause of it, and came within ``FOLD_S``. What is no plain effect is an alert of its own, however close it comes;
a stuck key above all is never folded. The causes are the physics of a power stage, common practice, no source.
"""

from collections.abc import Mapping
from typing import Final

from alerts.types import Priority

#: effects are told by their dwells: the slowest of them, the imbalance, takes ten seconds and a few samples
FOLD_S: Final = 15.0
#: the same alert is told no more often than this, unless it is worse: at three a minute an alert counts as chattering
#: (ISA-18.2 family, from memory); 60 s is also the off-delay that EEMUA 191 starts a temperature with (from memory)
REALARM_S: Final = 60.0

LINK: Final = "link-lost"

RANK: Final[Mapping[str, int]] = {str(priority): rank for rank, priority in enumerate(Priority)}

_HEAT = frozenset({"over-temperature", "thermal-forecast", "thermal-runaway"})
_OUTPUT = frozenset({"power-fade", "bias-drift"})

#: cause -> what it makes within seconds
EFFECTS: Final[Mapping[str, frozenset[str]]] = {
    # a shorted device: the rest of the stage, the supply, the output and the heat follow
    "over-current": frozenset({"current-imbalance", "supply"}) | _OUTPUT | _HEAT,
    "thermal-runaway": frozenset({"over-current", "current-imbalance", "supply"}) | _OUTPUT | _HEAT,
    # one device carries the others' share, or none at all
    "current-imbalance": frozenset({"over-current"}) | _OUTPUT | _HEAT,
    # bias and output move with heat
    "over-temperature": _OUTPUT | _HEAT,
    "thermal-forecast": _OUTPUT | _HEAT,
    # a bad load: the stage sees another impedance
    "reflected-power": frozenset({"over-current", "current-imbalance", "supply", "load-temperature"}) | _OUTPUT | _HEAT,
    "load-temperature": frozenset({"reflected-power", "power-fade"}),
    "supply": frozenset({"current-imbalance"}) | _OUTPUT,
    # keyed and nothing flows: then nothing comes out
    "keying": frozenset({"power-fade", "supply"}),
    # what is reckoned from a sensor that can't be trusted
    "sensor-fault": _HEAT | frozenset({"bias-drift"}),
    # a cable or a broker: all bays on one link are missed together
    LINK: frozenset({LINK}),
}


def folds(cause: str, cause_priority: str, effect: str, effect_priority: str, apart_s: float) -> bool:
    """Whether an alert of rule ``effect`` is to be folded under one of ``cause`` raised ``apart_s`` before it."""
    return effect in EFFECTS.get(cause, ()) and RANK[cause_priority] >= RANK[effect_priority] and abs(apart_s) <= FOLD_S


def unknowable(rule: str, priority: str) -> bool:
    """Whether a lost link leaves nothing to know of such an alert; that a bay tripped stays true, link or no link."""
    return rule != LINK and priority != Priority.TRIP
