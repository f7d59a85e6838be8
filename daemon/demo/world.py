"""The demo's world, all of it invented: a mountain-rescue team's transceivers, refitted by a community workshop."""

import tomllib
from dataclasses import dataclass

from sensors.twin.spec import RackSpec, UnitSpec

#: thermal masses are scaled down so that ten minutes show what takes an hour and more on a real heatsink
THERMAL_SCALE = 0.12
RATE_HZ = 2.0

RACK = "rack-1"
NOTE = "A demo: eight simulated radios, and thermal masses scaled down so that ten minutes show a whole soak."
NOTE_NO_BROKER = " Mosquitto is not installed here, so all eight speak over serial ports."

#: each bay's dummy load, as rack.toml has it
LOAD = "{ continuous_w = 50, short_w = 100, short_min = 5 }"

#: faults count key-down time, so that they wait for the soak to be started
HOG = '{ kind = "current-hog", device = 2, threshold_v = 0.3, at_s = 90, ramp_s = 300, counts = "key-down" }'
BAD_LOAD = '{ kind = "bad-load", gamma = 0.5, at_s = 200, ramp_s = 60, counts = "key-down" }'
SLOW_HOG = '{ kind = "current-hog", device = 1, threshold_v = 0.3, at_s = 1500, ramp_s = 1800, counts = "key-down" }'

EXTRAS = ["case", "bias", "peak", "load", "ambient"]


@dataclass(frozen=True)
class Unit:
    """One radio of the demo; ``fault`` is an inline TOML table of the twin, or empty."""

    bay: str
    seed: int
    number: str
    unit: str
    fault: str = ""

    def spec(self, port: str, thermal_scale: float = THERMAL_SCALE) -> str:
        """The unit as the twin's spec has it (TOML)."""
        extras = EXTRAS if self.seed % 3 else EXTRAS[:2]
        lines = [
            "[[unit]]",
            f'bay = "{self.bay}"',
            f"seed = {self.seed}",
            f"rate_hz = {RATE_HZ}",
            f"thermal_scale = {thermal_scale}",
            f"extras = {extras!r}".replace("'", '"'),
            f"port = {port}" if port else "",
            f"fault = [{self.fault}]" if self.fault else "",
        ]
        return "\n".join(line for line in lines if line) + "\n"

    def twin(self) -> UnitSpec:
        """The unit for the twin's own time, with the thermal masses of a real one."""
        return RackSpec.model_validate(tomllib.loads(self.spec("", thermal_scale=1.0))).unit[0]


#: eight bays, as they stand; two of them carry a fault that must be seen before it does harm
UNITS = [
    Unit("bay-1", 11, "2026-111", "MR-25 no. 011"),
    Unit("bay-2", 12, "2026-112", "MR-25 no. 012"),
    Unit("bay-3", 13, "2026-113", "MR-25 no. 014", fault=HOG),
    Unit("bay-4", 14, "2026-114", "MR-25 no. 015"),
    Unit("bay-5", 15, "2026-115", "MR-25 no. 016"),
    Unit("bay-6", 16, "2026-116", "MR-25 no. 019", fault=BAD_LOAD),
    Unit("bay-7", 17, "2026-117", "MR-25 no. 020"),
    Unit("bay-8", 18, "2026-118", "MR-25 no. 023"),
]

#: six units that were soaked for two hours before today; one went back to the bench
EARLIER = [
    Unit("bay-1", 1, "2026-101", "MR-25 no. 001"),
    Unit("bay-2", 2, "2026-102", "MR-25 no. 002"),
    Unit("bay-3", 3, "2026-103", "MR-25 no. 003"),
    Unit("bay-4", 4, "2026-104", "MR-25 no. 005", fault=SLOW_HOG),
    Unit("bay-5", 5, "2026-105", "MR-25 no. 007"),
    Unit("bay-6", 6, "2026-106", "MR-25 no. 008"),
]
