"""The calibrations that are in force on the rack, by bay and channel: what links, bays and the API share of them."""

from collections.abc import Iterable, Mapping

from alerts import guard
from daemon.calibration.known import Calibration, expanded_of
from sensors.calibrated import Cell, corrected
from sensors.conversion import Convert
from sensors.types import BOOLEANS, CHANNELS
from sensors.wiring import Wiring, plain


class InForce:
    """Changed on the safety loop only, between soaks; read from any thread, since a bay's table is replaced whole."""

    def __init__(self, calibrations: Iterable[Calibration] = ()) -> None:
        self._held: dict[str, Mapping[str, Calibration]] = {}
        self._cells: dict[tuple[str, str], Cell] = {}
        self._base: dict[tuple[str, str], Convert] = {}
        for one in calibrations:
            self.put(one)

    def wrapped(self, bay: str, wiring: Wiring) -> Wiring:
        """A bay's conversions, each followed by the correction that is in force at that instant."""
        named = {name: wiring.get(name) or plain(name) for name in CHANNELS if name not in BOOLEANS}
        self._base.update({(bay, name): convert for name, convert in named.items()})
        return {name: corrected(convert, self._cell(bay, name)) for name, convert in named.items()}

    def base(self, bay: str, channel: str) -> Convert | None:
        """A channel's conversion without any calibration; None where no link reads it."""
        return self._base.get((bay, channel))

    def put(self, calibration: Calibration) -> None:
        """Put a calibration in force in place of the one before."""
        bay, channel = calibration.bay, calibration.channel
        correction = calibration.correction
        self._held[bay] = {**self.of(bay), channel: calibration}
        self._cell(bay, channel).correction = correction

    def take(self, bay: str, channel: str, before: Calibration | None) -> None:
        """Take back what was put and could not be kept: ``before`` is in force again."""
        if before is not None:
            self.put(before)
            return
        self._held[bay] = {name: one for name, one in self.of(bay).items() if name != channel}
        self._cell(bay, channel).correction = None

    def of(self, bay: str) -> Mapping[str, Calibration]:
        """Those of a bay, by channel."""
        return self._held.get(bay, {})

    def ids(self, bay: str) -> tuple[int, ...]:
        """Which calibrations stand behind a bay's readings."""
        return tuple(sorted(one.id for one in self.of(bay).values()))

    def expanded(self, bay: str, figures: Mapping[str, float]) -> dict[str, float]:
        """U (k = 2) of a soak's figures, as far as calibrations tell it."""
        return guard.of_figures(figures, expanded_of(self.of(bay), figures))

    def _cell(self, bay: str, channel: str) -> Cell:
        return self._cells.setdefault((bay, channel), Cell())
