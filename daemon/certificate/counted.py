"""What a soak has really had, counted anew from its sealed readings, as ``alerts.verdict`` counts it live."""

from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.parquet as pq

from alerts.estimators.arrhenius import BOLTZMANN_EV_PER_K, KELVIN
from alerts.keyed import rest_a
from alerts.limits import Limits
from alerts.verdict import COLDEST_C, GAP_S, GAP_SAMPLES
from daemon.api.models import PlanView
from sensors.types import CHANNELS, DRAINS, Drive

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

_DRAINS = CHANNELS[DRAINS]
_NAN = pa.Array.from_buffers(pa.float64(), 1, [None, pa.py_buffer(np.array([np.nan]).tobytes())])[0]
_COLUMNS = ["at_s", "key", "heatsink", "supply", "forward", "reflected", *_DRAINS]


class Counted(NamedTuple):
    """Key-down time, s; energy drawn from the supply, and forward less reflected energy under drive, J; readings;
    time at temperature as so long at the service temperature (Arrhenius), s."""

    key_down_s: float
    drawn_j: float
    load_j: float | None
    readings: int
    heat_s: float | None = None


def count(path: Path, limits: Limits, run: PlanView) -> Counted:
    """Count in a sealed file; what a reading shows holds until the next, but over no gap.

    ``run`` is the plan by seconds since the start, with its waits (``aligned.as_run``). Raises pyarrow's errors.
    """
    with pq.ParquetFile(path) as file:
        table = file.read(columns=_COLUMNS)
    have = {name: _floats(table[name]) for name in _COLUMNS}
    at_s = have["at_s"]
    if len(at_s) < 2:
        return Counted(0.0, 0.0, None, len(at_s))
    for_s = np.diff(at_s)
    sample_s = float(np.median(for_s))
    for_s = np.where(for_s > max(GAP_SAMPLES * sample_s, GAP_S), sample_s, for_s)
    found = [have[name] for name in _DRAINS if not np.isnan(have[name]).all()]
    drains = np.array(found) if found else np.empty((0, len(at_s)))
    total_a = drains.sum(axis=0) if found else np.full(len(at_s), np.nan)
    key = _keyed(have["key"], have["forward"], drains, limits)
    idle = ~key.word & _asked_idle(run, at_s) & (total_a > limits.rest_device_a * len(drains))
    keyed = (key.down | idle)[:-1]
    forward_w = have["forward"]
    driven = (key.down & key.told & (forward_w >= limits.drive_floor_w))[:-1]
    drawn_w = have["supply"] * total_a
    load_w = (forward_w - np.nan_to_num(have["reflected"]))[:-1]
    return Counted(
        key_down_s=float(for_s[keyed].sum()),
        drawn_j=float(np.nansum(np.clip(drawn_w[:-1], 0.0, None) * for_s)),
        load_j=None if np.isnan(forward_w).all() else float((load_w * for_s)[driven].sum()),
        readings=len(at_s),
        heat_s=_heat_s(have["heatsink"][:-1], for_s, limits),
    )


def _floats(column: pa.ChunkedArray) -> Floats:
    # read_table(), to_numpy() and a plain nan each load pandas: a second of a processor, and 40 MB, for nothing
    chunks = [np.from_dlpack(chunk.fill_null(_NAN)) for chunk in column.chunks]
    return np.concatenate(chunks) if chunks else np.empty(0)


def _heat_s(heatsink_c: Floats, for_s: Floats, limits: Limits) -> float | None:
    known = heatsink_c > COLDEST_C
    if not known.any():
        return None
    per_k = limits.activation_ev / BOLTZMANN_EV_PER_K
    factors = np.exp(per_k * (1 / (limits.service_c + KELVIN) - 1 / (heatsink_c[known] + KELVIN)))
    return float((factors * for_s[known]).sum())


class _Key(NamedTuple):
    """Of each reading: whether the radio is keyed, whether the reading itself tells that, and whether the node has
    given a word of its own by then."""

    down: Bools
    told: Bools
    word: Bools


def _keyed(word: Floats, forward_w: Floats, drains: Floats, limits: Limits) -> _Key:
    # as alerts.keyed has it: by the node's word from its first one on, before that by power and current; a reading
    # that does not tell changes nothing
    spoke = ~np.isnan(word)
    has_word = np.maximum.accumulate(spoke)
    by_current = (forward_w > limits.rest_forward_w) | (np.nansum(drains, axis=0) > rest_a(len(drains), limits))
    measured = ~np.isnan(forward_w) | ~np.isnan(drains).all(axis=0)
    told = np.where(has_word, spoke, measured)
    last = np.maximum.accumulate(np.where(told, np.arange(len(word)), -1))
    says = np.where(has_word, word > 0.5, by_current)
    return _Key((last >= 0) & says[last], told, has_word)


def _asked_idle(run: PlanView, at_s: Floats) -> Bools:
    asked = np.zeros(len(at_s), np.bool_)
    for phase in run.phases:
        if phase.drive == Drive.IDLE:
            inside_s = at_s - phase.start_s
            now = (inside_s >= 0) & (at_s < phase.end_s)
            if phase.on_s is not None and phase.off_s is not None:
                now &= inside_s % (phase.on_s + phase.off_s) < phase.on_s
            asked |= now
    return asked
