"""Thermal resistance from each output device's case to the heatsink, over a whole soak.

R = (T_case - T_heatsink) / P of that device (JESD51: a difference of temperatures over the power that makes it), the
dissipation shared out in the ratio of the currents. A dry pad or a poor device shows here, and not in the
heatsink's own resistance to the air.
"""

from collections.abc import Mapping
from math import isfinite

from sensors.types import CASES, DRAINS, HEATSINK

#: less dissipated energy than this has not brought a case to its place yet (common practice, no source)
LEAST_J = 3000.0


class CaseResistance:
    """Means over driven time; constant memory and time a frame."""

    __slots__ = ("_joule", "_kelvin_s")

    def __init__(self) -> None:
        self._kelvin_s = [0.0] * 4
        self._joule = [0.0] * 4

    def look(self, values: tuple[float, ...], currents_a: Mapping[int, float], heat_w: float, seconds: float) -> None:
        """Take in steady driven time; ``currents_a`` by the drain's place in a Frame, ``heat_w`` of all devices."""
        total_a = sum(currents_a.values())
        cases = [i for i in range(4) if isfinite(values[CASES.start + i])]
        # a lone current beside several cases is the sum of devices: whose heat it is can't be told
        if not (total_a > 0.0 and heat_w > 0.0) or (len(currents_a) == 1 and len(cases) > 1):
            return
        for i in cases:
            current_a = currents_a.get(DRAINS.start + i)
            over_k = values[CASES.start + i] - values[HEATSINK]
            if current_a is not None and isfinite(over_k):
                self._kelvin_s[i] += over_k * seconds
                self._joule[i] += heat_w * current_a / total_a * seconds

    def figures(self) -> dict[str, float]:
        """``case_1_k_per_w`` and so on, of the devices that have been driven for long enough."""
        pairs = enumerate(zip(self._kelvin_s, self._joule, strict=True), 1)
        return {f"case_{i}_k_per_w": kelvin_s / joule for i, (kelvin_s, joule) in pairs if joule >= LEAST_J}
