"""From packs to Frames: the one way in for a serial line, a broker, a recording and the twin alike."""

from collections import deque
from collections.abc import Callable, Mapping
from zlib import crc32

from msgspec import UNSET

from sensors.errors import PackRefused
from sensors.senml import Record, decode, resolve
from sensors.types import (
    BOOLEANS,
    CHANNELS,
    DETECTED,
    INDEX,
    NAN,
    NO_VOLTS,
    UNITS,
    BayStats,
    Frame,
    LinkStats,
    Quality,
)
from sensors.wiring import Convert, Wiring, plain

Observe = Callable[[str, str, str, float, float, Quality], None]
"""bay, channel, unit of the record, raw value, engineering value, quality."""

#: packs of a bay that are remembered to know a repeat; a broker has 20 unacknowledged in flight by default
REMEMBERED_PACKS = 64
SEQ_MODULUS = 2**32

_BLANK_VALUES = [NAN] * len(CHANNELS)
_BLANK_QUALITY = bytes([Quality.MISSING]) * len(CHANNELS)
_SEQ = -1
#: the ending of the name under which a recording keeps why a channel has no value
MARK = ".quality"


class _Bay:
    """What is remembered of one bay between packs."""

    def __init__(self, name: str, stats: BayStats) -> None:
        self.name = name
        self.stats = stats
        self.seq = -1
        self.recent: deque[tuple[int, int]] = deque(maxlen=REMEMBERED_PACKS)


class _Slot:
    """Where a record of one resolved name goes; ``mark`` is for a recording's word on a channel that has no value,
    ``detected`` the place of its volts in a Frame, -1 where no detector reads it."""

    __slots__ = ("bay", "channel", "convert", "detected", "index", "mark")

    def __init__(self, bay: _Bay, channel: str, index: int, convert: Convert | None, mark: bool = False) -> None:
        self.bay = bay
        self.channel = channel
        self.index = index
        self.convert = convert
        self.mark = mark
        self.detected = DETECTED.index(channel) if channel in DETECTED else -1


class Intake:
    """Decodes, resolves, converts and assembles; counts into ``stats`` what it drops and why.

    ``any_bay`` takes in bays that ``wirings`` has not, in engineering units, and honours the quality marks that
    recording.Writer leaves: for recordings, where all is from one trusted hand.
    """

    def __init__(
        self,
        wirings: Mapping[str, Wiring],
        stats: LinkStats,
        observe: Observe | None = None,
        *,
        any_bay: bool = False,
    ) -> None:
        self.stats = stats
        self._observe = observe
        self._any_bay = any_bay
        self._bays: dict[str, _Bay] = {}
        self._slots: dict[str, _Slot] = {}
        for bay, wiring in wirings.items():
            self._add(bay, wiring)

    def feed(self, pack: bytes, clock_s: float, now_ns: int) -> list[Frame]:
        """The Frames of one pack, one a bay an instant, in order of time; none where the pack is refused.

        ``clock_s`` goes into the Frames; ``now_ns`` (UTC) is what relative times count from. Raises nothing for a
        bad pack: it is counted in ``stats.refused``, with the reason in ``last_error``.
        """
        try:
            return self.take(pack, clock_s, now_ns)
        except PackRefused as err:
            self.stats.refused += 1
            self.stats.last_error = str(err)
            bay = self._bays.get(err.name.rpartition("/")[0])
            if bay is not None:
                bay.stats.last_error = str(err)
            return []

    def take(self, pack: bytes, clock_s: float, now_ns: int) -> list[Frame]:
        """As ``feed``, but raises PackRefused."""
        instants, seqs = self._sort(resolve(decode(pack), now_ns / 1e9))
        fresh: dict[_Bay, int] = {}
        for bay, seq in seqs.items():
            bay.stats.packs += 1
            if not self._is_repeat(bay, seq, pack):
                fresh[bay] = seq
        return [
            self._frame(bay, time_ns, clock_s, fresh[bay], slotted)
            for (bay, time_ns), slotted in instants.items()
            if bay in fresh
        ]

    def _add(self, name: str, wiring: Wiring) -> None:
        bay = _Bay(name, self.stats.bays.setdefault(name, BayStats()))
        self._bays[name] = bay
        self._slots[f"{name}/seq"] = _Slot(bay, "seq", _SEQ, None)
        for channel, index in INDEX.items():
            convert = None if channel in BOOLEANS else wiring.get(channel) or plain(channel)
            self._slots[f"{name}/{channel}"] = _Slot(bay, channel, index, convert)
            if self._any_bay:
                self._slots[f"{name}/{channel}{MARK}"] = _Slot(bay, channel, index, None, mark=True)

    def _sort(
        self, records: list[Record]
    ) -> tuple[dict[tuple[_Bay, int], list[tuple[_Slot, Record]]], dict[_Bay, int]]:
        """Records by bay and instant, and each bay's seq (-1 where it gave none)."""
        instants: dict[tuple[_Bay, int], list[tuple[_Slot, Record]]] = {}
        seqs: dict[_Bay, int] = {}
        strangers: set[str] = set()
        slots = self._slots
        at: tuple[_Bay, float] | None = None
        for record in records:
            name, time_s = record.n, record.t
            assert name is not UNSET and time_s is not UNSET  # noqa: PT018  resolve() sets both
            slot = slots.get(name)
            if slot is None:
                slot = self._unknown(name, strangers, seqs)
                if slot is None:
                    continue
            bay = slot.bay
            if slot.index == _SEQ:
                seqs[bay] = _seq_of(record)
                continue
            if not slot.mark and (record.vs is not UNSET or record.vd is not UNSET):
                raise PackRefused("a text where a number or a boolean is wanted", name)
            if at is None or at[0] is not bay or at[1] != time_s:
                at = (bay, time_s)
                here = instants.setdefault((bay, _nanoseconds(time_s, name)), [])
                seqs.setdefault(bay, -1)
            here.append((slot, record))
        self.stats.strangers += bool(strangers)
        return instants, seqs

    def _unknown(self, name: str, strangers: set[str], seqs: dict[_Bay, int]) -> _Slot | None:
        bay_name, _, channel = name.rpartition("/")
        bay = self._bays.get(bay_name)
        if bay is None and self._any_bay and bay_name:
            self._add(bay_name, {})
            return self._slots.get(name) or self._unknown(name, strangers, seqs)
        if bay is None:
            strangers.add(bay_name)
            self.stats.last_error = f"a pack of {bay_name or name!r}, a bay that this link does not have"
        else:
            seqs.setdefault(bay, -1)
            bay.stats.unknown += 1
            bay.stats.last_error = f"{channel!r} is no channel of the contract"
        return None

    def _is_repeat(self, bay: _Bay, seq: int, pack: bytes) -> bool:
        if seq < 0:
            return False
        seen = (seq, crc32(pack))
        if bay.seq >= 0:
            ahead = (seq - bay.seq) % SEQ_MODULUS
            if 0 < ahead < SEQ_MODULUS // 2:
                bay.stats.lost += ahead - 1
            elif seen in bay.recent:
                # the very same pack: QoS 1 may deliver twice, also several packs back after a reconnection
                bay.stats.repeats += 1
                return True
            else:
                bay.stats.restarts += 1
        bay.seq = seq
        bay.recent.append(seen)
        return False

    def _frame(self, bay: _Bay, time_ns: int, clock_s: float, seq: int, slotted: list[tuple[_Slot, Record]]) -> Frame:
        values = _BLANK_VALUES.copy()
        qualities = bytearray(_BLANK_QUALITY)
        volts = NO_VOLTS
        observe = self._observe
        for slot, record in slotted:
            index, convert = slot.index, slot.convert
            unit = "" if record.u is UNSET else record.u
            if convert is not None:
                raw = NAN if record.v is UNSET else record.v
                value, quality = (NAN, Quality.REFUSED) if record.v is UNSET else convert(raw, unit)
            elif slot.mark:
                qualities[index] = _mark_of(record)
                continue
            else:
                raw = value = NAN if record.vb is UNSET else float(record.vb)
                quality = Quality.REFUSED if record.vb is UNSET else Quality.GOOD
            if qualities[index] != Quality.MISSING:
                value, quality = NAN, Quality.REFUSED  # said twice for one instant: neither can be believed
                raw = NAN
            if slot.detected >= 0 and unit == "V":
                volts = (*volts[: slot.detected], raw, *volts[slot.detected + 1 :])
            if quality:
                if quality == Quality.REFUSED:
                    self._refuse(bay, slot, record, unit)
                value = NAN
            values[index] = value
            qualities[index] = quality
            if observe is not None:
                observe(bay.name, slot.channel, unit, raw, value, quality)
        bay.stats.last_s = clock_s
        return Frame(bay.name, time_ns, clock_s, seq, tuple(values), bytes(qualities), volts)

    @staticmethod
    def _refuse(bay: _Bay, slot: _Slot, record: Record, unit: str) -> None:
        bay.stats.refused += 1
        what = f"a value in {unit!r}" if record.v is not UNSET else "no number"
        if record.vb is not UNSET:
            what = "a boolean"
        wanted = UNITS[slot.channel]
        bay.stats.last_error = f"{slot.channel}: {what} does not fit here ({wanted} is the channel's own unit)"


def _nanoseconds(time_s: float, name: str) -> int:
    # a double holds Unix time to a quarter of a microsecond, so a microsecond is what can be kept and compared;
    # whole seconds apart, as their product with 1e6 would be rounded once more
    whole_s = int(time_s)
    time_ns = (whole_s * 1_000_000 + round((time_s - whole_s) * 1e6)) * 1000
    if not 0 <= time_ns < 2**63:
        raise PackRefused(f"its time, {time_s:g} s, is in no year that can be kept", name)
    return time_ns


def _seq_of(record: Record) -> int:
    seq = record.v
    if seq is UNSET or seq != int(seq) or not 0 <= seq < SEQ_MODULUS:
        raise PackRefused("wants a whole number below 2**32", str(record.n))
    return int(seq)


def _mark_of(record: Record) -> Quality:
    try:
        return Quality[str(record.vs).upper()]
    except KeyError as err:
        raise PackRefused("no quality that is known here", str(record.n)) from err
