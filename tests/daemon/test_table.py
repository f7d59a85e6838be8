"""The CSV table against Python's own writer of CSV, a row at a time."""

import csv
import io
from datetime import UTC, datetime

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from daemon.store.frames import Readings
from daemon.table import COLUMNS, csv_pieces
from sensors.types import CHANNELS

ZERO_NS = 1_764_054_000 * 10**9
#: what a reading may be; no pack with another number is let in
NUMBERS = st.floats(allow_nan=True, allow_infinity=False)
#: a century around the start, to the nanosecond
ROWS = st.lists(st.tuples(st.integers(-(10**18), 3 * 10**18), st.tuples(*[NUMBERS] * 3)), min_size=1, max_size=20)


def row_by_row(rows: list[tuple[int, tuple[float, ...]]]) -> bytes:
    """The same by the standard library: RFC 4180, RFC 3339, repr of each number."""
    text = io.StringIO(newline="")
    out = csv.writer(text)
    out.writerow(COLUMNS)
    for time_ns, values in rows:
        seconds, nanos = divmod(time_ns, 10**9)
        utc = f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{nanos // 1000:06d}Z"
        cells = ["" if v != v else v for v in values]  # noqa: PLR0124  nan
        out.writerow([utc, round((time_ns - ZERO_NS) / 1e9, 6), *cells])
    return text.getvalue().encode()


@given(ROWS)
@example([(ZERO_NS, (25.0, -0.0, float("nan"))), (ZERO_NS + 50_500, (1e-4, 9.999e-05, 5e-324))])
@example([(ZERO_NS + 1, (1e15, 1e16, -1.5e300)), (ZERO_NS - 1, (0.1, 1 / 3, 123456789.123456789))])
def test_each_cell_is_written_as_row_by_row(rows: list[tuple[int, tuple[float, ...]]]) -> None:
    """To the last digit, whatever the number; an empty cell where there is none."""
    full = [(time_ns, (*some, *[float("nan")] * (len(CHANNELS) - len(some)))) for time_ns, some in rows]
    readings = Readings(
        np.array([time_ns for time_ns, _ in full], np.int64),
        [np.array(c) for c in zip(*(v for _, v in full), strict=True)],
    )
    found = list(csv_pieces([readings], ZERO_NS))
    assert b"".join(piece for piece, _ in found) == row_by_row(full)
    assert found[-1][1] == len(rows)


def test_a_job_without_readings_has_the_names_of_its_columns() -> None:
    """And parts follow one another without a second head."""
    assert b"".join(piece for piece, _ in csv_pieces([], ZERO_NS)) == row_by_row([])
    one = Readings(np.array([ZERO_NS]), [np.array([float(i)]) for i in range(len(CHANNELS))])
    rows = [(ZERO_NS, tuple(float(i) for i in range(len(CHANNELS))))] * 2
    assert b"".join(piece for piece, _ in csv_pieces([one, one], ZERO_NS)) == row_by_row(rows)
