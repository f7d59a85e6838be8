"""What a soak has really had, counted anew from its sealed readings, as ``alerts.verdict`` counts it live."""

from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.parquet as pq

from alerts.estimators.arrhenius import BOLTZMANN_EV_PER_K, KELVIN
from alerts.limits import Limits
from alerts.verdict import COLDEST_C, GAP_S, GAP_SAMPLES
from sensors.types import CHANNELS, DRAINS

Floats = npt.NDArray[np.float64]

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


def count(path: Path, limits: Limits) -> Counted:
    """Count in a sealed file; what a reading shows holds until the next, but over no gap. Raises pyarrow's errors."""
    with pq.ParquetFile(path) as file:
        table = file.read(columns=_COLUMNS)
    have = {name: _floats(table[name]) for name in _COLUMNS}
    at_s = have["at_s"]
    if len(at_s) < 2:
        return Counted(0.0, 0.0, None, len(at_s))
    for_s = np.diff(at_s)
    sample_s = float(np.median(for_s))
    for_s = np.where(for_s > max(GAP_SAMPLES * sample_s, GAP_S), sample_s, for_s)
    drains = [have[name] for name in _DRAINS if not np.isnan(have[name]).all()]
    total_a = np.sum(drains, axis=0) if drains else np.full(len(at_s), np.nan)
    keyed = _keyed(have, total_a, limits, len(drains))[:-1]
    forward_w = have["forward"]
    driven = keyed & (forward_w[:-1] >= limits.drive_floor_w)
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


def _keyed(have: dict[str, Floats], total_a: Floats, limits: Limits, devices: int) -> npt.NDArray[np.bool_]:
    word = have["key"]
    if np.isnan(word).all():
        # a node that gives no word of its own is judged by power and current, as alerts.keyed has it
        rest_a = limits.rest_total_a if devices == 1 else limits.rest_device_a * devices
        return np.asarray((have["forward"] > limits.rest_forward_w) | (total_a > rest_a))
    told = ~np.isnan(word)
    last = np.maximum.accumulate(np.where(told, np.arange(len(word)), 0))
    return np.asarray(np.where(told[last], word[last], 0.0) > 0.5)
