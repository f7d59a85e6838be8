"""Curves between two moments, from frames where these are few, else from buckets with frames at both ends."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from daemon.store.buckets import NEVER, SWR, WIDTHS_NS, Buckets, Floats, Nanos, Table, swr_of
from daemon.store.curves import SILENCE, elapsed, open_silences, thin
from daemon.store.frames import FrameReader, Span
from daemon.store.pyramid import Slots
from sensors.types import CHANNELS

#: frames that are read one by one: at 10 Hz fifty minutes, in 0.1 s where it was measured
MOST_FRAMES = 30_000
_OF_SWR = ("forward", "reflected")

Line = tuple[Floats, Floats]  # seconds since the start, values
_Part = tuple[Nanos, dict[str, Floats]]


class Drawn(NamedTuple):
    """How many frames there are, and each series that has a value, thinned."""

    frames: int
    last_s: float
    lines: dict[str, Line]


class _Window(NamedTuple):
    span: Span
    from_ns: int
    to_ns: int


def drawn(frames: FrameReader, window: tuple[Span, int, int], points: int, series: Sequence[str]) -> Drawn:
    """``series`` (channels, and ``swr``) of the span's job from one UTC nanosecond to another, both included.

    At most ``points`` points each; the least and greatest of every part are kept, and nan a gap. Raises StoreUnfit.
    """
    of = _Window(*window)
    width_ns = WIDTHS_NS[1]
    many = frames.in_buckets(Slots(of.span.job, 1, of.from_ns // width_ns, of.to_ns // width_ns + 1)) > MOST_FRAMES
    return _of_buckets(frames, of, points, series) if many else _of_frames(frames, of, points, series)


def _read(frames: FrameReader, of: _Window, series: Sequence[str]) -> _Part:
    if of.from_ns > of.to_ns:
        return np.zeros(0, np.int64), {}
    wanted = [name for name in CHANNELS if name in series or (SWR in series and name in _OF_SWR)]
    times_ns, columns = frames.columns(of.span, of.from_ns, of.to_ns, wanted)
    if SWR in series and all(name in columns for name in _OF_SWR):
        ratio = swr_of(*(columns[name] for name in _OF_SWR))
        if not np.isnan(ratio).all():
            columns[SWR] = ratio
    return times_ns, {name: columns[name] for name in series if name in columns}


def _of_frames(frames: FrameReader, of: _Window, points: int, series: Sequence[str]) -> Drawn:
    times_ns, columns = _read(frames, of, series)
    at_s, columns = open_silences(elapsed(times_ns, of.span.zero_ns), columns)
    lines = {name: thin(at_s, values, points) for name, values in columns.items()}
    return Drawn(len(times_ns), float(at_s[-1]) if len(at_s) else 0.0, lines)


def _of_buckets(frames: FrameReader, of: _Window, points: int, series: Sequence[str]) -> Drawn:
    # of two buckets a point each, the least and the greatest, the coarser ones will do where they are enough
    level = 1 if (of.to_ns - of.from_ns) // WIDTHS_NS[1] >= points // 2 else 0
    width_ns = WIDTHS_NS[level]
    # the slots at both ends frame by frame: the first and the last reading are points of a curve
    first, end = of.from_ns // width_ns + 1, of.to_ns // width_ns
    slots, buckets = frames.buckets(Slots(of.span.job, level, first, end), series)
    # what has come since the last bucket was summed up is read frame by frame
    end = int(slots[-1]) + 1 if len(slots) else first
    left = _read(frames, of._replace(to_ns=min(first * width_ns - 1, of.to_ns)), series)
    right = _read(frames, of._replace(from_ns=end * width_ns), series)
    if len(slots) and not len(left[0]):  # nothing at that end: the first bucket has the first reading
        left = _read(frames, of._replace(to_ns=(int(slots[0]) + 1) * width_ns - 1), series)
        slots, buckets = slots[1:], buckets.part(1, None)
    if len(slots) and not len(right[0]):
        right = _read(frames, of._replace(from_ns=int(slots[-1]) * width_ns), series)
        slots, buckets = slots[:-1], buckets.part(None, -1)
    heads = buckets.heads
    quiet_ns = _silences(left[0], buckets, right[0])
    lines: dict[str, Line] = {}
    for at, name in enumerate(series):
        line = _joined(name, left, buckets.stats[:, at], right, quiet_ns)
        if line is not None:
            lines[name] = thin(elapsed(line[0], of.span.zero_ns), line[1], points)
    last_ns = right[0][-1] if len(right[0]) else heads["last_ns"][-1] if len(heads) else of.span.zero_ns
    total = len(left[0]) + int(heads["frames"].sum()) + len(right[0])
    return Drawn(total, float(elapsed(np.array([last_ns]), of.span.zero_ns)[0]), lines)


def _silences(left_ns: Nanos, buckets: Buckets, right_ns: Nanos) -> Nanos:
    heads = buckets.heads[buckets.heads["frames"] > 1]
    if not len(heads):
        return np.zeros(0, np.int64)
    sample_ns = float(np.median((heads["last_ns"] - heads["first_ns"]) / (heads["frames"] - 1)))
    starts = np.concatenate((left_ns, buckets.heads["first_ns"], right_ns))
    ends = np.concatenate((left_ns, buckets.heads["last_ns"], right_ns))
    between = ends[:-1][starts[1:] - ends[:-1] > SILENCE * sample_ns]
    within = heads["hush_at_ns"][heads["hush_ns"] > SILENCE * sample_ns]
    return np.sort(np.concatenate((between, within))) + round(sample_ns)


def _joined(name: str, left: _Part, stats: Table, right: _Part, quiet_ns: Nanos) -> tuple[Nanos, Floats] | None:
    some = stats["n"] > 0
    if not some.any() and name not in left[1] and name not in right[1]:
        return None
    none_ns = np.concatenate((stats["gap_ns"][stats["gap_ns"] != NEVER], quiet_ns))
    had = stats[some]
    ends = [(ns, columns.get(name, np.full(len(ns), np.nan))) for ns, columns in (left, right)]
    at_ns = np.concatenate((ends[0][0], had["least_ns"], had["most_ns"], none_ns, ends[1][0]))
    values = np.concatenate((ends[0][1], had["least"], had["most"], np.full(len(none_ns), np.nan), ends[1][1]))
    order = np.argsort(at_ns, kind="stable")
    at_ns, values = at_ns[order], values[order]
    # the least and the greatest are one point where a value stays the same
    new = np.append(True, (np.diff(at_ns) > 0) | (values[1:] != values[:-1]))
    return at_ns[new], values[new]
