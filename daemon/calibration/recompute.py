"""A job computed anew by the calibrations in force now: other readings, another verdict, nothing kept is changed."""

from collections.abc import Callable, Iterable, Mapping
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
from sensors.calibrated import Line
from sensors.recording import Writer
from sensors.types import CHANNELS, Frame


def recompute(folder: Path, job: int, out: Path, tell: Callable[[str], object]) -> int:
    """Write the job's readings, corrected anew, to ``out`` as a recording, and judge it by its own plan.

    ``tell`` hears line by line what is done and what was found; gives the exit status of a replay. Raises NoSuch,
    Refused where no calibration has changed or the job runs, StoreUnfit, ExportFailed.
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
        for frame in anew(reader.job_frames(job), before, changed):
            writer.write(frame)
            n += 1
    if not n:
        out.unlink(missing_ok=True)
        raise Refused(f"job {job} has no readings")
    tell(f"{out}: {n} readings of job {job}, computed anew; what is kept of it is as it was: {view.verdict}")
    return replay(out, plan, lambda line: tell(line.rstrip("\n")), calibrated=InForce(now.values()))


def anew(frames: Iterable[Frame], before: Mapping[str, Calibration], now: Mapping[str, Calibration]) -> Iterable[Frame]:
    """Each frame with the channels of ``now`` corrected by it, and no more by ``before``."""
    lines: list[tuple[int, Line | None, Line]] = [
        (CHANNELS.index(channel), before[channel].line if channel in before else None, one.line)
        for channel, one in now.items()
    ]
    for frame in frames:
        values = list(frame.values)
        for index, old, new in lines:
            # nan, where there is no value, stays nan
            values[index] = new.value(values[index] if old is None else old.reading(values[index]))
        yield msgspec.structs.replace(frame, values=tuple(values))
