"""Buckets: of all frames of a job within one slot of time, each channel's mean, least and greatest, and its gaps.

A curve over a long time is drawn from these, and is exact in what a person looks for: a spike of one sample is its
bucket's greatest, with the instant at which it was. Slots are counted from 1970, so that they need no job's start.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from sensors.rf import FORWARD_FLOOR_W
from sensors.types import CHANNELS, FORWARD, REFLECTED, UNITS

Floats = npt.NDArray[np.float64]
Nanos = npt.NDArray[np.int64]
Table = npt.NDArray[np.void]  # of HEAD, or of STAT

SWR = "swr"
#: what a bucket has: the contract's channels and what is reckoned from them frame by frame; with units
SERIES: tuple[str, ...] = (*CHANNELS, SWR)
SERIES_UNITS = UNITS | {SWR: "1"}
#: the standing-wave ratio at which a curve ends, as no line goes to infinity (common practice of meters, no source)
SWR_MOST = 99.9

#: of each level; at 10 Hz the finest is 80 frames, and its buckets take a twentieth of the room of the frames
WIDTHS_NS = (8 * 10**9, 64 * 10**9)
FOLD = WIDTHS_NS[1] // WIDTHS_NS[0]

NEVER = 2**63 - 1
#: of one bucket: how many frames, the first and the last, the longest step between two of them and where it began
HEAD_NAMES = ("frames", "first_ns", "last_ns", "hush_ns", "hush_at_ns")
HEAD = np.dtype([(name, "<i8") for name in HEAD_NAMES])
#: of one series in one bucket: how many values, where the least and greatest are, and the first missing value
STAT = np.dtype(
    [(name, "<f8") for name in ("mean", "least", "most")]
    + [(name, "<i8") for name in ("n", "least_ns", "most_ns", "gap_ns")]
)
EMPTY: npt.NDArray[np.void] = np.array([(np.nan, np.nan, np.nan, 0, NEVER, NEVER, NEVER)], STAT)


class Buckets(NamedTuple):
    """So many buckets in the order of time: ``heads`` has one HEAD each, ``stats`` one STAT a bucket and series."""

    heads: Table
    stats: Table

    @classmethod
    def joined(cls, parts: Sequence["Buckets"]) -> "Buckets":
        """One after another."""
        # by their bytes: numpy joins structured arrays 30 times as slowly
        heads = np.frombuffer(b"".join([part.heads.tobytes() for part in parts]), HEAD)
        stats = np.frombuffer(b"".join([part.stats.tobytes() for part in parts]), STAT)
        return cls(heads, stats.reshape(len(heads), -1))

    def part(self, first: int | None, end: int | None) -> "Buckets":
        """Those from the ``first`` to before the ``end``, counted as a slice counts."""
        return Buckets(self.heads[first:end], self.stats[first:end])


class _Columns(NamedTuple):
    """What is folded: each of a STAT, a row a frame or a bucket and a column a series."""

    mean: Floats
    least: Floats
    most: Floats
    n: npt.NDArray[Any]
    least_ns: Nanos
    most_ns: Nanos
    gap_ns: Nanos


def swr_of(forward_w: Floats, reflected_w: Floats) -> Floats:
    """`sensors.rf.swr` of each pair: nan under the forward floor, at most SWR_MOST."""
    with np.errstate(all="ignore"):
        gamma = np.sqrt(np.maximum(reflected_w, 0.0) / forward_w)
        ratio = np.where(gamma < 1.0, (1.0 + gamma) / (1.0 - gamma), SWR_MOST)
    judged = (forward_w >= FORWARD_FLOOR_W) & ~np.isnan(reflected_w)
    return np.where(judged, np.minimum(ratio, SWR_MOST), np.nan)


def of_frames(times_ns: Nanos, values: Floats, starts: npt.NDArray[np.int64]) -> Buckets:
    """Buckets of frames that are in the order of time within each; each begins at one index of ``starts``.

    ``values`` has a row a frame and a column a channel, nan where there is no value.
    """
    steps = np.diff(times_ns, prepend=times_ns[:1])
    steps[starts] = 0
    before_ns = np.roll(times_ns, 1)
    ends = np.append(starts[1:], len(times_ns))
    heads = np.empty(len(starts), HEAD)
    heads["frames"] = ends - starts
    heads["first_ns"], heads["last_ns"] = times_ns[starts], times_ns[ends - 1]
    _longest(heads, steps, before_ns, starts)
    (has,) = np.nonzero(~np.isnan(values).all(axis=0))  # a bay has about nine of the channels
    full = values[:, has]
    if {FORWARD, REFLECTED} <= set(has.tolist()):
        has = np.append(has, len(CHANNELS))
        full = np.column_stack((full, swr_of(values[:, FORWARD], values[:, REFLECTED])))
    missing = np.isnan(full)
    at_ns = np.broadcast_to(times_ns[:, None], full.shape)
    stats = np.repeat(EMPTY[None, :], len(SERIES), axis=1).repeat(len(starts), axis=0)
    gap_ns = np.where(missing, at_ns, NEVER)
    stats[:, has] = _folded(_Columns(full, full, full, ~missing, at_ns, at_ns, gap_ns), starts)
    return with_gaps(Buckets(heads, stats))


def with_gaps(buckets: Buckets) -> Buckets:
    """The same buckets; where a series has no value at all, its gap begins with the first frame."""
    stats, first_ns = buckets.stats, buckets.heads["first_ns"][:, None]
    stats["gap_ns"] = np.where(stats["n"] > 0, stats["gap_ns"], first_ns)
    return buckets


def merged(fine: Buckets, starts: npt.NDArray[np.int64]) -> Buckets:
    """Coarser buckets of finer ones that are in the order of time; each begins at one index of ``starts``."""
    heads = np.empty(len(starts), HEAD)
    ends = np.append(starts[1:], len(fine.heads))
    heads["frames"] = np.add.reduceat(fine.heads["frames"], starts)
    heads["first_ns"] = fine.heads["first_ns"][starts]
    heads["last_ns"] = fine.heads["last_ns"][ends - 1]
    before_ns = np.roll(fine.heads["last_ns"], 1)
    between = fine.heads["first_ns"] - before_ns
    between[starts] = 0
    longer = between >= fine.heads["hush_ns"]
    steps = np.where(longer, between, fine.heads["hush_ns"])
    _longest(heads, steps, np.where(longer, before_ns, fine.heads["hush_at_ns"]), starts)
    columns = _Columns._make(fine.stats[name] for name in _Columns._fields)
    return Buckets(heads, _folded(columns, starts))


def _longest(heads: Table, steps: Nanos, began_ns: Nanos, starts: npt.NDArray[np.int64]) -> None:
    heads["hush_ns"] = np.maximum.reduceat(steps, starts)
    here = steps == np.repeat(heads["hush_ns"], np.diff(starts, append=len(steps)))
    heads["hush_at_ns"] = np.minimum.reduceat(np.where(here, began_ns, NEVER), starts)


def _folded(fine: _Columns, starts: npt.NDArray[np.int64]) -> Table:
    sizes = np.diff(starts, append=len(fine.mean))
    out = np.empty((len(starts), fine.mean.shape[1]), STAT)
    # a channel may hold whatever a float can: a sum of such may overflow, which is no reason to stop
    with np.errstate(all="ignore"):
        count = np.add.reduceat(fine.n, starts, axis=0, dtype=np.int64)
        total = np.add.reduceat(np.where(fine.n > 0, fine.mean * fine.n, 0.0), starts, axis=0)
        out["mean"] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    out["n"] = count
    for name, extreme, values, at_ns in (
        ("least", np.fmin, fine.least, fine.least_ns),
        ("most", np.fmax, fine.most, fine.most_ns),
    ):
        found = extreme.reduceat(values, starts, axis=0)
        here = values == np.repeat(found, sizes, axis=0)
        out[name] = found
        out[f"{name}_ns"] = np.minimum.reduceat(np.where(here, at_ns, NEVER), starts, axis=0)
    out["gap_ns"] = np.minimum.reduceat(fine.gap_ns, starts, axis=0)
    return out
