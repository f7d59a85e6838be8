"""A job computed anew by the calibrations in force now: other readings, another verdict, nothing kept is changed."""

from collections.abc import Callable, Iterable, Mapping
from math import inf, isnan
from pathlib import Path

import msgspec

from daemon.calibration.force import InForce
from daemon.calibration.kept import Calibrations
from daemon.calibration.known import Calibration
from daemon.errors import Refused
from daemon.export import whole
from daemon.plan import Plan
from daemon.replay import replay
from daemon.store.reader import CATALOG, Reader
from sensors.calibrated import Cell, corrected
from sensors.calibration_table import Table
from sensors.conversion import GOOD, Answer
from sensors.recording import Writer
from sensors.types import CHANNELS, DETECTED, UNITS, Frame, Quality
from sensors.wiring import Wiring, plain

_Again = Callable[[float, Quality, float], Answer]
"""(a value as it was kept, its quality, the detector's volts or nan) -> the value anew, its quality."""


def recompute(
    folder: Path,
    job: int,
    out: Path,
    tell: Callable[[str], object],
    wirings: Callable[[str], Wiring] = lambda bay: {},
) -> int:
    """Write the job's readings, corrected anew, to ``out`` as a recording, and judge it by its own plan.

    ``tell`` hears line by line what is done and what was found; ``wirings`` gives the conversions of rack.toml for a
    bay, as they are now: a line that follows a table needs them. Gives the exit status of a replay. Raises NoSuch,
    Refused where no calibration has changed, the job runs, or what was kept does not do, StoreUnfit, ExportFailed.
    """
    reader, kept = Reader(folder), Calibrations(folder / CATALOG)
    view = reader.job(job)
    if view.ended_ns is None:
        raise Refused(f"job {job} still runs: it can be computed anew when its soak has ended")
    before = {one.channel: one for one in kept.of(view.calibrations)}
    now = {one.channel: one for one in kept.in_force() if one.bay == view.bay}
    changed = {channel: one for channel, one in now.items() if before.get(channel) != one}
    if not changed:
        raise Refused(f"job {job} was corrected by the calibrations that are in force now: there is nothing to change")
    plan = Plan.from_toml(reader.facts(job)["plan_text"])
    for channel, one in sorted(changed.items()):
        old = before.get(channel)
        tell(f"{channel}: calibration {one.id} in place of {f'calibration {old.id}' if old else 'none'}")
    n = 0
    with whole(out) as part, Writer(part) as writer:
        for frame in anew(reader.job_frames(job), before, changed, wirings(view.bay)):
            writer.write(frame)
            n += 1
    if not n:
        out.unlink(missing_ok=True)
        raise Refused(f"job {job} has no readings")
    # a wait in which the soak ended lasts for ever
    waited = {w.phase: inf if w.until_s is None else w.until_s for w in view.waits}
    tell(f"{out}: {n} readings of job {job}, computed anew; what is kept of it is as it was: {view.verdict}")
    return replay(out, plan, lambda line: tell(line.rstrip("\n")), calibrated=InForce(now.values()), waited=waited)


def anew(
    frames: Iterable[Frame],
    before: Mapping[str, Calibration],
    now: Mapping[str, Calibration],
    wiring: Wiring | None = None,
) -> Iterable[Frame]:
    """Each frame with the channels of ``now`` corrected by it, and no more by ``before``.

    Raises Refused where a reading can't be had back: a table needs the volts, a line after a table the conversion.
    """
    ways = [
        (CHANNELS.index(channel), _again(channel, before.get(channel), one, wiring or {}))
        for channel, one in now.items()
    ]
    for frame in frames:
        values, qualities = list(frame.values), bytearray(frame.quality)
        for index, again in ways:
            volts = frame.volts[DETECTED.index(CHANNELS[index])] if CHANNELS[index] in DETECTED else float("nan")
            values[index], qualities[index] = again(values[index], Quality(qualities[index]), volts)
        yield msgspec.structs.replace(frame, values=tuple(values), quality=bytes(qualities))


def _again(channel: str, before: Calibration | None, now: Calibration, wiring: Wiring) -> _Again:
    old, new = before.correction if before else None, now.correction
    base = wiring.get(channel) or plain(channel)
    by_new = corrected(base, Cell(new))

    def by_volts(value: float, quality: Quality, volts: float) -> Answer:
        if isnan(volts) and not isnan(value) and isinstance(old, Table):
            volts = old.reading(value)
        if not isnan(volts):
            return by_new(volts, "V")
        if isnan(value):
            return value, quality
        raise Refused(
            f"{channel} was kept in W, without a detector's volts: calibration {now.id} is a table, which knows volts "
            "alone; calibrate it by a line"
        )

    def by_line(value: float, quality: Quality, volts: float) -> Answer:
        if isinstance(old, Table):
            answer = by_new(volts, "V")
            if answer[1] != GOOD and not isnan(value):
                raise Refused(
                    f"{channel} was read by a table (calibration {before.id if before else 0}), and rack.toml has no "
                    f"conversion for {volts:g} V without it: calibrate it by a table again"
                )
            return answer
        if isnan(value):  # why there is none has nothing to do with a line
            return value, quality
        reading = old.reading(value) if old else value
        return corrected(plain(channel), Cell(new))(reading, UNITS[channel])

    return by_volts if isinstance(new, Table) else by_line
