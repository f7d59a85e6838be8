"""Bookings in the catalog: kept beside the daemon's own writer, moved on from version 4, and a customer erased."""

import random
import threading
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from daemon import migrations
from daemon.api.booking_models import Booking, DeviceSetUp, DeviceType, Fitted, Power
from daemon.booking.kept import STILL_READ, Bookings
from daemon.errors import NoSuch, Refused
from daemon.store import Store
from daemon.store.catalog import engine
from daemon.store.items import JobStarted
from daemon.store.reader import CATALOG

MakeJob = Callable[..., JobStarted]

CUSTOMER = "Zebulon Quaxmire of Nowhere"
UNIT = Booking(
    number="J-5",
    unit="MR-25 no. 014",
    kind="MR-25",
    serial="0014",
    customer=CUSTOMER,
    fitted=Fitted(type="type A", lot="lot 7", bias_method="one trimmer a gate", tj_max_c=175),
    device=[DeviceSetUp(bias_v=4.2, idle_a=0.25), DeviceSetUp(bias_v=4.21, idle_a=0.26)],
    before=Power(am_carrier_w=10, ssb_pep_w=22, meter="bench wattmeter"),
)


@pytest.fixture
def catalog(store: Store, tmp_path: Path) -> Path:
    """The catalog of a store that is open."""
    assert store.behind == 0
    return tmp_path / "data" / CATALOG


@pytest.fixture
def bookings(catalog: Path) -> Bookings:
    """Bookings in it."""
    return Bookings(catalog)


def kept(bookings: Bookings, booking: Booking = UNIT) -> int:
    """Book in, and give the id."""
    (answer,) = bookings.add([booking])
    assert isinstance(answer, int)
    return answer


def bytes_of(catalog: Path) -> bytes:
    """All that lies on the disk of it: the file, its log, its index."""
    return b"".join(path.read_bytes() for path in catalog.parent.glob(f"{CATALOG}*"))


def test_a_booking_reads_back_as_it_was_with_its_soaks(bookings: Bookings, store: Store, job_at: MakeJob) -> None:
    """All of the sheet; and the job names the booking as the booking its jobs."""
    number = kept(bookings)
    store.put(msgspec.structs.replace(job_at(1), booking=number))
    store.put(job_at(2, bay="bay-2"))
    store.put(msgspec.structs.replace(job_at(3), booking=number))
    store.flush()
    view = bookings.one(number)
    assert view.model_dump(include=set(Booking.model_fields)) == UNIT.model_dump()
    assert view.jobs == [1, 3]
    assert [job.booking for job in store.jobs()] == [number, None, number]


def test_the_list_is_newest_first_found_by_a_part_and_tells_no_customer(bookings: Bookings) -> None:
    """A part of the number, the unit or the serial, whatever its capitals; a percent sign is itself."""
    first = kept(bookings)
    second = kept(bookings, Booking(number="J-6", unit="MR-25 no. 015", serial="50%"))
    assert [view.booking for view in bookings.find()] == [second, first]
    assert [view.booking for view in bookings.find("mr-25 NO. 014")] == [first]
    assert [view.booking for view in bookings.find("%")] == [second]
    assert [view.booking for view in bookings.find(most=1)] == [second]
    assert CUSTOMER not in repr(bookings.find())
    assert CUSTOMER not in repr(bookings.one(first))


def test_a_unit_is_booked_in_once_a_job_number_and_the_others_of_a_batch_are_kept(bookings: Bookings) -> None:
    """The refusal names the booking that is there."""
    first = kept(bookings)
    other = UNIT.model_copy(update={"unit": "MR-25 no. 015"})
    again, kept_other, twice = bookings.add([UNIT, other, other])
    assert isinstance(kept_other, int)
    assert isinstance(again, Refused)
    assert str(first) in again.why
    assert isinstance(twice, Refused)
    assert str(kept_other) in twice.why


def test_a_newer_sheet_takes_the_place_and_a_customer_left_out_stays(bookings: Bookings) -> None:
    """Power after is entered when it has been measured."""
    number = kept(bookings)
    later = UNIT.model_copy(update={"customer": None, "after": Power(ssb_pep_w=31)})
    bookings.change(number, later)
    view = bookings.one(number)
    assert view.after.ssb_pep_w == 31
    assert view.customer == CUSTOMER
    assert view.changed_ns > view.booked_ns
    with pytest.raises(NoSuch, match=f"no booking 99; known: {number}"):
        bookings.change(99, later)
    other = kept(bookings, Booking(number="J-6", unit="x"))
    with pytest.raises(Refused, match="booked in already"):
        bookings.change(other, later)


def test_device_data_that_is_left_out_comes_from_the_library_and_stays_when_that_changes(bookings: Bookings) -> None:
    """What a sheet says itself goes before."""
    bookings.keep_type(DeviceType(name="type A", rth_jc_k_w=0.6, rth_cs_k_w=0.2, tj_max_c=150, note="maker's sheet"))
    number = kept(bookings, *bookings.with_device_data([UNIT]))
    bookings.keep_type(DeviceType(name="type A", rth_jc_k_w=0.9))
    assert [device.rth_jc_k_w for device in bookings.device_types()] == [0.9]
    bookings.remove_type("type A")
    fitted = bookings.one(number).fitted
    assert (fitted.rth_jc_k_w, fitted.rth_cs_k_w, fitted.tj_max_c) == (0.6, 0.2, 175)
    assert bookings.device_types() == []
    with pytest.raises(NoSuch, match="no device type 'type A'"):
        bookings.remove_type("type A")


def test_an_erased_customer_is_in_no_byte_of_the_file_or_its_log(bookings: Bookings, catalog: Path) -> None:
    """Also where pages were split and joined: zeroing what is deleted alone leaves one of these names (2 in 600)."""
    chance = random.Random(1)

    def unit(i: int, customer: str) -> Booking:
        return Booking(number=str(i), unit="u", kind="stays", customer=f"CUST{i:04d}-{customer}")

    numbers = [kept(bookings, unit(i, "x" * chance.choice([0, 20, 250, 280]))) for i in range(150)]
    for i in chance.sample(range(150), 60):
        bookings.change(numbers[i], unit(i, "y" * chance.randint(0, 280)))
    gone = chance.sample(range(150), 20)
    assert all(f"CUST{i:04d}-".encode() in bytes_of(catalog) for i in gone)
    for i in gone:
        bookings.erase_customer(numbers[i])
    found = bytes_of(catalog)
    assert [i for i in range(150) if f"CUST{i:04d}-".encode() not in found] == sorted(gone)
    assert b"stays" in found
    assert bookings.one(numbers[gone[0]]).customer is None
    bookings.erase_customer(numbers[gone[0]])  # again is no error


def test_a_customer_s_name_that_was_corrected_does_not_stay_in_the_file(
    bookings: Bookings, store: Store, catalog: Path
) -> None:
    """Nor any word of it, once the log is folded back, as at the daemon's end."""
    number = kept(bookings)
    bookings.change(number, UNIT.model_copy(update={"customer": "Right Name"}))
    store.close()
    assert not any(word.encode() in bytes_of(catalog) for word in CUSTOMER.split() if word != "of")
    assert b"Right Name" in bytes_of(catalog)


def test_one_customer_is_erased_and_the_others_stay(bookings: Bookings, catalog: Path) -> None:
    """Also while the store keeps what the safety loop puts."""
    first = kept(bookings)
    second = kept(bookings, UNIT.model_copy(update={"number": "J-6", "customer": "Other Person"}))
    bookings.erase_customer(first)
    assert CUSTOMER.encode() not in bytes_of(catalog)
    assert bookings.one(second).customer == "Other Person"
    with pytest.raises(NoSuch):
        bookings.erase_customer(99)


def test_an_erase_that_a_reader_holds_up_says_so_and_is_done_when_asked_again(
    bookings: Bookings, catalog: Path
) -> None:
    """Never told as done while a byte of it is there."""
    number = kept(bookings)
    with engine(catalog, read_only=True).connect() as reader:
        reader.execute(sa.text("SELECT count(*) FROM booking")).all()
        reader.exec_driver_sql("BEGIN")
        reader.execute(sa.text("SELECT name FROM customer")).all()
        with pytest.raises(Refused, match=STILL_READ[:40]):
            bookings.erase_customer(number)
    bookings.erase_customer(number)
    assert CUSTOMER.encode() not in bytes_of(catalog)


def test_many_who_book_in_at_once_beside_the_store_are_all_kept(
    bookings: Bookings, store: Store, job_at: MakeJob
) -> None:
    """The catalog has two writers: neither loses anything."""

    def some(who: int) -> None:
        for i in range(5):
            kept(bookings, Booking(number=f"{who}-{i}", unit="u"))

    threads = [threading.Thread(target=some, args=(who,)) for who in range(4)]
    for thread in threads:
        thread.start()
    for job in range(1, 40):
        store.put(job_at(job, bay=f"bay-{job}"))
    for thread in threads:
        thread.join()
    store.flush()
    assert len(bookings.find()) == 20
    assert len(store.jobs()) == 39
    assert store.error == ""


def test_what_is_wrong_with_the_file_is_told_without_a_value(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Of a statement's values, a customer among them, nothing is in the error nor in what led to it."""
    path = tmp_path / CATALOG
    engine(path).connect().close()
    with pytest.raises(Refused) as caught:
        Bookings(path).add([UNIT])
    assert CUSTOMER not in str(caught.value)
    assert caught.value.__suppress_context__
    assert CUSTOMER not in caplog.text


def test_a_catalog_of_version_4_is_moved_on_and_its_jobs_have_no_booking(tmp_path: Path) -> None:
    """And back again, with its jobs."""
    path = tmp_path / CATALOG
    with engine(path).connect() as db:
        config = Config()
        config.set_main_option("script_location", str(Path(migrations.__file__).parent))
        config.attributes["connection"] = db
        command.upgrade(config, "0004")
        db.execute(
            sa.text(
                "INSERT INTO jobs (job, number, unit, bay, plan_name, plan_text, limits, started_ns, reasons, figures)"
                " VALUES (1, 'J-1', 'u', 'bay-1', 'p', '', '{}', 1, '[]', '{}')"
            )
        )
        db.commit()
        command.upgrade(config, "0005")
        assert db.execute(sa.text("SELECT number, booking FROM jobs")).all() == [("J-1", None)]
        command.downgrade(config, "0004")
        assert db.execute(sa.text("SELECT number FROM jobs")).all() == [("J-1",)]
