"""A job as one Parquet file: the contract's columns, each with its unit, and in the file's metadata what job it was."""

import io
import json
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from daemon.store.buckets import Floats
from daemon.store.frames import PAGE, Readings
from sensors.types import CHANNELS, UNITS, Frame

#: column -> unit: when (UTC), seconds since the start, the node's count of packs, and the channels
COLUMNS = {"time_ns": "ns", "at_s": "s", "seq": "1", **UNITS}
_WHOLE = ("time_ns", "seq")
#: the key of the file's metadata under which the facts of the job are, as JSON
FACTS = "job"
#: pages a row group: 64 000 frames, 12 MB in memory
_PAGES = 32
#: frames that are read back at a time
READ = 8192


def schema(facts: Mapping[str, Any]) -> pa.Schema:
    """The file's columns, with the unit of each in its field's metadata, and the facts in the file's."""
    fields = [
        pa.field(name, pa.int64() if name in _WHOLE else pa.float64(), metadata={"unit": unit})
        for name, unit in COLUMNS.items()
    ]
    # sorted, so that the same job gives the same file
    return pa.schema(fields, metadata={FACTS: json.dumps(facts, sort_keys=True, allow_nan=False)})


def pieces(frames: Iterable[Frame], zero_ns: int, facts: Mapping[str, Any]) -> Iterator[tuple[bytes, int]]:
    """The file, piece by piece, each with how many frames are in it so far; memory does not grow with it.

    A channel is null where it has no value.
    """
    drain, n = _Drain(), 0
    form = schema(facts)
    left = iter(frames)
    with pq.ParquetWriter(drain, form, compression="zstd") as out:
        while pages := [page for page in (list(islice(left, PAGE)) for _ in range(_PAGES)) if page]:
            out.write_table(pa.Table.from_batches([_batch(page, zero_ns, form) for page in pages]))
            n += sum(map(len, pages))
            yield drain.taken(), n
    yield drain.taken(), n


def readings(path: Path) -> Iterator[Readings]:
    """What such a file says of the channels, part by part."""
    with pq.ParquetFile(path) as file:
        # one of an earlier version may have fewer
        kept = [name for name in CHANNELS if name in file.schema_arrow.names]
        for batch in file.iter_batches(batch_size=READ, columns=["time_ns", *kept]):
            none = np.full(len(batch), np.nan)
            found = {name: _values(batch.column(name), none) for name in kept}
            yield Readings(batch.column("time_ns").to_numpy(), [found.get(name, none) for name in CHANNELS])


def _values(column: Any, none: Floats) -> Floats:
    # most channels have no value at all, which pyarrow takes long to say
    if column.null_count == len(column):
        return none
    values: Floats = column.to_numpy(zero_copy_only=False)
    return values


def _batch(page: list[Frame], zero_ns: int, form: pa.Schema) -> pa.RecordBatch:
    times_ns = np.array([frame.time_ns for frame in page], np.int64)
    seqs = np.array([frame.seq for frame in page], np.int64)
    # column by column: one array of a whole page would keep the interpreter's lock from the safety loop for long
    columns = [np.array(column, np.float64) for column in zip(*(frame.values for frame in page), strict=True)]
    arrays = [
        pa.array(times_ns),
        pa.array((times_ns - zero_ns) / 1e9),
        pa.array(seqs, mask=seqs < 0),
        *(pa.array(column, mask=np.isnan(column)) for column in columns),
    ]
    assert len(columns) == len(CHANNELS)
    return pa.RecordBatch.from_arrays(arrays, schema=form)


class _Drain(io.RawIOBase):
    """Takes in what a writer writes until somebody takes it out."""

    def __init__(self) -> None:
        super().__init__()
        self._held: list[bytes] = []

    def writable(self) -> bool:
        """It is all that it is."""
        return True

    def write(self, data: Any) -> int:
        """Hold some more."""
        held = bytes(data)
        self._held.append(held)
        return len(held)

    def taken(self) -> bytes:
        """What has come since the last time."""
        held, self._held = b"".join(self._held), []
        return held
