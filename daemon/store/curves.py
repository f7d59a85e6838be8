"""Curves thinned to what a screen can show: the least and greatest of every part stay, and so do the gaps."""

from typing import Any

import numpy as np
from tsdownsample import MinMaxDownsampler

from daemon.api.models import Curve
from daemon.store.buckets import SERIES_UNITS, Floats, Nanos

NO_LINE = (np.zeros(0), np.zeros(0))
LEAST_POINTS = 16
_least_and_greatest: Any = MinMaxDownsampler  # its stubs know no types
#: as the rule link-lost has it: no pack within three sample times is a silence
SILENCE = 3.0


def elapsed(times_ns: Nanos, zero_ns: int) -> Floats:
    """Sample times as seconds since the job's start, to the millisecond (a node sends at 100 Hz at most)."""
    return np.round((times_ns - zero_ns) / 1e9, 3)


def open_silences(at_s: Floats, columns: dict[str, Floats]) -> tuple[Floats, dict[str, Floats]]:
    """Put a moment without any value into every stretch in which no frame came, so that no line crosses it."""
    steps_s = np.diff(at_s)
    if len(steps_s) < 2:
        return at_s, columns
    sample_s = float(np.median(steps_s))
    (before,) = np.nonzero(steps_s > SILENCE * sample_s)
    if not len(before) or not sample_s:
        return at_s, columns
    full_s = np.insert(at_s, before + 1, at_s[before] + sample_s)
    return full_s, {name: np.insert(column, before + 1, np.nan) for name, column in columns.items()}


def thin(at_s: Floats, values: Floats, points: int) -> tuple[Floats, Floats]:
    """At most ``points`` (16 or more) of a curve: first and last, each part's least and greatest, and a nan a gap."""
    points = max(points, LEAST_POINTS)
    if len(values) <= points:
        return at_s, values
    missing = np.isnan(values)
    (has,) = np.nonzero(~missing)
    (gaps,) = np.nonzero(missing)
    # between two points that stay there may be one nan: half of the room is then theirs
    room = (points // 2 if len(gaps) else points) - 2
    keep = has
    if len(has) > room:
        picked = _least_and_greatest().downsample(np.ascontiguousarray(values[has]), n_out=room // 2 * 2)
        keep = has[np.unique(np.concatenate((picked.astype(np.int64), [0, len(has) - 1])))]
    if len(gaps) and len(keep):
        nearest = gaps[np.minimum(np.searchsorted(gaps, keep[:-1]), len(gaps) - 1)]
        between = (nearest > keep[:-1]) & (nearest < keep[1:])
        keep = np.sort(np.concatenate((keep, nearest[between])))
    return at_s[keep], values[keep]


def curve(channel: str, at_s: Floats, values: Floats) -> Curve:
    """One series as the API sends it."""
    numbers = [None if v != v else v for v in values.tolist()]  # noqa: PLR0124  nan
    return Curve(channel=channel, unit=SERIES_UNITS[channel], at_s=at_s.tolist(), value=numbers)
