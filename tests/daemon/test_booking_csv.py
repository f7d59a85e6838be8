"""A batch by CSV: whatever is in the file, good rows are taken and bad ones named by row and field."""

import csv
import io
import string
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.api.booking_models import Booking, DeviceSetUp, Fitted, Power
from daemon.booking.batch import COLUMNS, MOST_ROWS, read_csv
from daemon.errors import BadFile

texts = st.text(alphabet=string.ascii_letters + string.digits + " .,;\"'-äΩ", max_size=20).map(str.strip)
names = texts.filter(bool)
watts = st.none() | st.floats(0, 10_000)
powers = st.builds(Power, am_carrier_w=watts, am_pep_w=watts, fm_w=watts, ssb_pep_w=watts, meter=texts)
devices = st.builds(DeviceSetUp, bias_v=st.floats(-50, 50), idle_a=st.floats(0, 100))
bookings = st.builds(
    Booking,
    number=names,
    unit=names,
    kind=texts,
    serial=texts,
    customer=st.none() | names,
    fitted=st.builds(
        Fitted,
        type=texts,
        lot=texts,
        bias_method=texts,
        rth_jc_k_w=st.none() | st.floats(0.001, 100),
        tj_max_c=st.none(),
    ),
    device=st.lists(devices, max_size=4),
    before=powers,
    after=powers,
)


def cells(booking: Booking) -> list[str]:
    """A booking as a row with all columns."""
    row = []
    for where in COLUMNS.values():
        at: Any = booking
        for part in where:
            if isinstance(at, list):
                at = at[int(part) - 1] if int(part) <= len(at) else None
            else:
                at = None if at is None else getattr(at, part)
        row.append("" if at is None else str(at))
    return row


def written(rows: list[list[str]], delimiter: str = ",") -> str:
    """A CSV file with all columns."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter)
    writer.writerow(COLUMNS)
    writer.writerows(rows)
    return out.getvalue()


@settings(deadline=None)
@given(st.lists(bookings, max_size=5), st.sampled_from([",", ";"]))
def test_what_is_written_reads_back_as_it_was(units: list[Booking], delimiter: str) -> None:
    """All of it, in both kinds of file, each with the row that a spreadsheet shows."""
    good, bad = read_csv(written([cells(unit) for unit in units], delimiter))
    assert bad == []
    assert [row.booking for row in good] == units
    assert [row.row for row in good] == list(range(2, len(units) + 2))


@settings(deadline=None)
@given(st.lists(bookings, min_size=1, max_size=4), st.integers(0, 4), st.sampled_from(["fm", "unit", "long"]))
def test_a_bad_row_costs_no_other(units: list[Booking], place: int, kind: str) -> None:
    """It is named by its row and its column, wherever it stands."""
    rows = [cells(unit) for unit in units]
    at = min(place, len(rows))
    wrong = cells(Booking(number="J-5", unit="MR-25 no. 014"))
    names_of = list(COLUMNS)
    if kind == "fm":
        wrong[names_of.index("after_fm_w")] = "ten"
    elif kind == "unit":
        wrong[names_of.index("unit")] = ""
    else:
        wrong.append("one cell too many")
    good, bad = read_csv(written([*rows[:at], wrong, *rows[at:]]))
    assert [row.booking for row in good] == units
    assert [(problem.row, problem.field) for problem in bad] == [
        (at + 2, {"fm": "after_fm_w", "unit": "unit", "long": ""}[kind])
    ]


@settings(deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Never anything else, also behind a right header."""
    for each in (text, f"number,unit,after_fm_w\n{text}"):
        with suppress(BadFile):
            read_csv(each)


def test_all_that_is_wrong_with_a_row_is_named_by_its_columns() -> None:
    """Not the first alone."""
    text = "number,unit,idle_2_a,bias_1_v,device_type,before_meter\nJ-1,U,-1,x,type A,m\nJ-2,U,0.2,4.2,type A,m\n"
    good, bad = read_csv(text)
    assert [row.row for row in good] == [3]
    assert {(problem.row, problem.field) for problem in bad} == {(2, "idle_2_a"), (2, "bias_1_v")}
    assert good[0].booking.device == [DeviceSetUp(bias_v=4.2), DeviceSetUp(idle_a=0.2)]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "row 1, number: is missing"),
        ("number,unit,colour\n", "row 1, colour: is no column that is known here"),
        ("number,unit,unit\n", "row 1, unit: is a column twice"),
        ('number,unit\nJ-1,"open\n', "is not CSV"),
        ("number,unit\n" + "J,U\n" * (MOST_ROWS + 1), f"more than {MOST_ROWS} rows"),
    ],
)
def test_a_file_that_is_none_is_refused_as_a_whole(text: str, says: str) -> None:
    """With the reason."""
    with pytest.raises(BadFile, match=says):
        read_csv(text)


def test_a_file_of_a_spreadsheet_with_decimal_commas_is_read() -> None:
    """Byte-order mark, semicolons, capitals in the header, empty rows at its end."""
    good, bad = read_csv("\ufeffNumber;Unit;before_FM_W;idle_1_A\r\nJ-1;MR-25, no. 014;10,5;0,25\r\n;;;\r\n")
    assert bad == []
    assert good[0].booking.before.fm_w == 10.5
    assert good[0].booking.device[0].idle_a == 0.25
    assert good[0].booking.unit == "MR-25, no. 014"
