"""Run a recording through the code of a live bay, in event time, and print what it would have said and done.

A recording can't answer: it goes on as it went. So a bay is judged up to the instant at which it would have been
unkeyed; what a radio that was not unkeyed did after that says nothing of one that was.
"""

import json
import math
from collections.abc import Callable, Iterator, Mapping
from itertools import chain, islice, pairwise
from pathlib import Path
from statistics import median
from typing import Any

from alerts.types import Finding
from daemon.bay import Bay
from daemon.calibration.force import InForce
from daemon.plan import Plan
from daemon.soak import Begun, Ended, Waited
from sensors.errors import RecordingBroken
from sensors.recording import read
from sensors.types import Frame

#: exit statuses of the contract
PASS, FAIL, UNREADABLE, INCOMPLETE = 0, 1, 2, 3

#: packs at the head of a recording from which the pace of each bay is taken
HEAD_PACKS = 1000
#: the pace of a bay of which there is one pack only
USUAL_SAMPLE_S = 0.5


class Printer:
    """The keys and notes of a replayed bay: what a live bay would say is written, a JSON object a line."""

    def __init__(self, write: Callable[[str], object]) -> None:
        self._write = write
        self.verdicts: dict[str, str] = {}
        self.over: set[str] = set()

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """A recording can't be keyed."""

    def unkey(self, bay: str) -> None:
        """A recording can't be unkeyed."""

    def begin(self, begun: Begun) -> None:
        """That a replay began is no news."""

    def say(self, job: int, at_s: float, finding: Finding) -> None:
        """Write a finding as the contract has it."""
        self._line(
            {
                "t": round(finding.time_ns / 1e9, 6),
                "bay": finding.bay,
                "rule": finding.rule,
                "event": str(finding.event),
                "priority": str(finding.priority),
                "value": _json_number(finding.value),
                "limit": _json_number(finding.limit),
                "unit": finding.unit,
                "text": finding.text,
            }
        )

    def wait(self, waited: Waited) -> None:
        """A replay passes over what a plan asks."""

    def end(self, ended: Ended) -> None:
        """Write a bay's verdict: its last line."""
        self.over.add(ended.bay)
        self.verdicts[ended.bay] = ended.verdict
        figures = {name: _json_number(value) for name, value in ended.figures.items()}
        self._line({"bay": ended.bay, "verdict": ended.verdict, "reasons": ended.reasons, "figures": figures})

    def _line(self, row: dict[str, Any]) -> None:
        self._write(json.dumps(row, ensure_ascii=False) + "\n")


def replay(
    recording: Path,
    plan: Plan,
    write: Callable[[str], object],
    *,
    calibrated: InForce | None = None,
    waited: Mapping[int, float] | None = None,
) -> int:
    """Replay a recording against a plan; returns the contract's exit status.

    ``calibrated`` has the calibrations by which its readings were corrected, for the figures' uncertainties;
    ``waited`` says until when the plan stood still at which phase, where that is known.

    Raises RecordingBroken when the recording can't be read to its end; all bays have had their verdict by then,
    for what was read.
    """
    printer = Printer(write)
    bays: dict[str, Bay] = {}
    last_ns = 0
    broken: RecordingBroken | None = None
    try:
        for frame, sample_s in paced(read(recording)):
            last_ns = max(last_ns, frame.time_ns)
            if frame.bay not in bays:
                bay = Bay(frame.bay, printer, printer, sample_s=sample_s, calibrated=calibrated)
                bay.start(plan, frame.clock_s, frame.time_ns, asks=False, waited=waited, blind=True)
                bays[frame.bay] = bay
            _one(frame, bays[frame.bay], printer)
    except RecordingBroken as err:
        broken = err
    if broken is None and not bays:
        raise RecordingBroken(recording, 0, "it holds no pack of any bay")
    for bay in bays.values():
        stopped = "the recording can't be read to its end" if broken else "the recording ends before the plan"
        end_s = bay.last.clock_s if bay.last else 0.0
        bay.close(end_s, bay.last.time_ns if bay.last else last_ns, stopped)
    if broken is not None:
        raise broken
    return status(printer.verdicts)


def status(verdicts: dict[str, str]) -> int:
    """The exit status of a replay: the worst verdict of its bays."""
    if "fail" in verdicts.values():
        return FAIL
    return INCOMPLETE if "incomplete" in verdicts.values() else PASS


def _one(frame: Frame, bay: Bay, printer: Printer) -> None:
    if frame.bay in printer.over:
        return
    if bay.last is not None and frame.clock_s - bay.last.clock_s > 1.5 * bay.sample_s:
        _pass_time(bay, frame)
    if frame.bay not in printer.over:
        bay.take(frame)


def _pass_time(bay: Bay, frame: Frame) -> None:
    # what the live loop's ticks would have seen in a gap, at the pace of the samples that did not come
    assert bay.last is not None  # the caller's condition, for the type checker
    from_s, from_ns = bay.last.clock_s, bay.last.time_ns
    steps = min(int((frame.clock_s - from_s) / bay.sample_s), 100_000)
    for i in range(1, steps + 1):
        if not bay.soaking:
            return
        ahead_s = i * bay.sample_s
        if from_s + ahead_s < frame.clock_s:
            bay.tick(from_s + ahead_s, from_ns + int(ahead_s * 1e9))


def paced(frames: Iterator[Frame]) -> Iterator[tuple[Frame, float]]:
    """Each frame with its bay's time between samples, taken from the first packs of the recording.

    A bay that joins later is taken to be as slow as the slowest of those.
    """
    head: list[Frame] = []
    broken: RecordingBroken | None = None
    try:
        head.extend(islice(frames, HEAD_PACKS))
    except RecordingBroken as err:
        broken = err
    times: dict[str, list[float]] = {}
    for frame in head:
        times.setdefault(frame.bay, []).append(frame.clock_s)
    pace_s = {bay: _pace(of_bay) for bay, of_bay in times.items()}
    slowest_s = max(pace_s.values(), default=USUAL_SAMPLE_S)
    for frame in chain(head, frames):
        yield frame, pace_s.get(frame.bay, slowest_s)
    if broken is not None:
        raise broken


def _pace(times: list[float]) -> float:
    # the median: a lost pack makes a step too long, a repeat of an instant one too short
    steps = [b - a for a, b in pairwise(times) if b > a]
    return median(steps) if steps else USUAL_SAMPLE_S


def _json_number(value: float) -> float | None:
    return round(value, 6) if math.isfinite(value) else None
