"""The node on the bench: obeys the contract (packs, seq, lease, tone, cut, its own cutout) around one radio."""

from collections.abc import Callable
from dataclasses import dataclass

from sensors.lease import NodeLease
from sensors.senml import encode
from sensors.twin.batch import draw
from sensors.twin.faults import Condition, FaultBase
from sensors.twin.model import STEP_S, Radio
from sensors.twin.senses import Senses
from sensors.twin.spec import UnitSpec
from sensors.types import Drive

#: A node that has cut out keys again only when the heatsink is this much cooler and the key has been given
#: back.
CUTOUT_HYSTERESIS_K = 10.0
SEQ_MODULUS = 2**32

KeyChanged = Callable[[bool, float, str], None]
"""Called with on, the clock, and why: told | lease ended | cutout | restart."""


@dataclass(frozen=True, slots=True)
class _Injected:
    fault: FaultBase
    start_s: float
    key_down_s: float


class Node:
    """One node and its radio; ``clock_s`` is its own time, which only ``advance`` moves."""

    def __init__(self, spec: UnitSpec, clock_s: float, key_changed: KeyChanged | None = None) -> None:
        self.spec = spec
        self.clock_s = clock_s
        self.key_down_s = 0.0
        self.seq = 0
        self.radio = Radio(draw(spec))
        self._senses = Senses(spec, self.radio.build)
        self._lease = NodeLease(spec.bay)
        self._key_changed = key_changed
        self._hot = False
        self._sensed_s = clock_s
        self._faults = [_Injected(fault, clock_s, 0.0) for fault in spec.fault]
        self._strengths: list[float] = [0.0] * len(self._faults)

    def inject(self, fault: FaultBase) -> None:
        """Add a fault; its onset counts from now."""
        self._faults.append(_Injected(fault, self.clock_s, self.key_down_s))
        self._strengths.append(0.0)

    def hear(self, pack: bytes, clock_s: float) -> None:
        """Take a key pack; raises PackRefused, and changes nothing, for one that breaks the contract."""
        self.advance(clock_s)
        self._lease.hear(pack, clock_s)
        self._mind("told")

    def advance(self, clock_s: float) -> None:
        """Move radio, faults, lease and cutout on to ``clock_s``; a loan that ends in between ends in between."""
        while (left_s := clock_s - self.clock_s) > 0.0:
            step_s = min(left_s, STEP_S)
            if self._faults:
                self._work_faults()
            self.radio.step(step_s)
            self.clock_s = clock_s if left_s <= STEP_S else self.clock_s + step_s
            if self.radio.keyed:
                self.key_down_s += step_s
            self._mind("lease ended")

    def pack(self, time_s: float) -> bytes:
        """This instant's readings as one SenML pack at the Unix time ``time_s``."""
        readings = self._senses.read(self.radio, self.clock_s - self._sensed_s)
        self._sensed_s = self.clock_s
        readings.append(("key", "", self.radio.key))
        if self.spec.relay:
            readings.append(("cut", "", self.radio.relay_open))
        pack = encode(self.spec.bay, time_s, readings, seq=self.seq)
        self.seq = (self.seq + 1) % SEQ_MODULUS
        return pack

    def restart(self, clock_s: float) -> None:
        """Power off and on: no loan and no count are kept, but a latching supply relay stays as it is."""
        self.advance(clock_s)
        opened = self._lease.cut
        self._lease = NodeLease(self.spec.bay)
        self._lease.cut = opened
        self.seq = 0
        self._mind("restart")

    def _mind(self, why: str) -> None:
        """Key and relay as lease and cutout have it now."""
        radio = self.radio
        lent = self._lease.keyed(self.clock_s)
        # A thermostat of its own on the heatsink, not the thermistor: a sensor that has come off can't
        # disable it.
        if radio.sink_c > self.spec.cutout_c:
            self._hot = True
        elif self._hot and not lent and radio.sink_c < self.spec.cutout_c - CUTOUT_HYSTERESIS_K:
            self._hot = False
        key = lent and not self._hot
        radio.drive = Drive(self.spec.on_tone) if self._lease.tone or not self.spec.tone else Drive.IDLE
        radio.relay_open = self._lease.cut and self.spec.relay
        if key != radio.key:
            radio.key = key
            radio.step(0.0)  # what flows changes at this instant, not a step later
            if self._key_changed:
                self._key_changed(key, self.clock_s, "cutout" if lent and not key else why)

    def _work_faults(self) -> None:
        strengths = [
            one.fault.strength(self.clock_s - one.start_s, self.key_down_s - one.key_down_s) for one in self._faults
        ]
        if strengths == self._strengths:
            return
        self._strengths = strengths
        condition = Condition()
        for one, strength in zip(self._faults, strengths, strict=True):
            if strength > 0.0:
                one.fault.work(condition, strength)
        self.radio.condition = condition
