"""Bookings and the library of device types, in the catalog. Nothing here is on the safety loop's way.

A customer's name is in a table of its own, so that it can be erased, and in no error, log or trace: what SQLAlchemy
says of a statement holds its values, and is never passed on.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import sqlalchemy as sa
import structlog

from daemon.api.booking_models import Booking, BookingView, DeviceData, DeviceType, Sheet
from daemon.errors import NoSuch, Refused, StoreUnfit
from daemon.store.catalog import engine
from daemon.store.tables import BOOKING, CUSTOMER, DEVICE_TYPE, JOBS

log = structlog.get_logger()

S = TypeVar("S", bound=Sheet)

#: how long an erase goes on to wait for those who read in the old log; one look at it waits a second by itself
ERASE_S = 0.5
MOST_TYPES = 1000
STILL_READ = "the customer is out of the catalog, but its log is being read and still has the old page: erase again"


class Bookings:
    """Keeps and reads bookings, from any thread; ``path`` is a catalog in its newest form.

    Raises NoSuch, Refused (also where another writer keeps the file) and StoreUnfit.
    """

    def __init__(self, path: Path, wall_ns: Callable[[], int] = time.time_ns) -> None:
        self._path, self._wall_ns = path, wall_ns
        self._engine = engine(path)
        self._engine.hide_parameters = True

    # reading -------------------------------------------------------------------------------------------------

    def find(self, text: str = "", most: int = 200) -> list[BookingView]:
        """The newest bookings first, those with ``text`` in number, unit or serial; without their customers."""
        query = sa.select(BOOKING).order_by(BOOKING.c.booking.desc()).limit(most)
        if text:
            columns = (BOOKING.c.number, BOOKING.c.unit, BOOKING.c.serial)
            query = query.where(sa.or_(*(c.icontains(text, autoescape=True) for c in columns)))
        with self._reading() as db:
            rows = db.execute(query).mappings().all()
            jobs = _jobs(db, [row["booking"] for row in rows])
        return [_view(row, jobs.get(row["booking"], [])) for row in rows]

    def one(self, booking: int) -> BookingView:
        """One booking, with its customer; raises NoSuch."""
        with self._reading() as db:
            row = self._row(db, booking)
            named = db.execute(sa.select(CUSTOMER.c.name).where(CUSTOMER.c.booking == booking)).scalar()
            return _view(row, _jobs(db, [booking]).get(booking, []), named)

    def device_types(self) -> list[DeviceType]:
        """The library, by name."""
        with self._reading() as db:
            rows = db.execute(sa.select(DEVICE_TYPE).order_by(DEVICE_TYPE.c.name)).mappings().all()
        return [DeviceType(**row) for row in rows]

    def with_device_data(self, sheets: Sequence[S]) -> list[S]:
        """Each sheet with the device data that it leaves out taken from the library, if its type is in it."""
        names = {sheet.fitted.type for sheet in sheets} - {""}
        if not names:
            return list(sheets)
        with self._reading() as db:
            rows = db.execute(sa.select(DEVICE_TYPE).where(DEVICE_TYPE.c.name.in_(names))).mappings().all()
        known = {row["name"]: row for row in rows}
        return [_filled(sheet, known[sheet.fitted.type]) if sheet.fitted.type in known else sheet for sheet in sheets]

    # keeping -------------------------------------------------------------------------------------------------

    def add(self, bookings: Sequence[Booking]) -> list[int | Refused]:
        """Keep each that can be kept, in one commit: its id, or why it was refused (it is booked in already)."""
        with self._writing() as db:
            taken = self._taken(db, bookings)
            first: dict[tuple[str, str], int] = {}
            for i, booking in enumerate(bookings):
                if _key(booking) not in taken:
                    first.setdefault(_key(booking), i)
            numbers = dict(zip(first, self._insert(db, [bookings[i] for i in first.values()]), strict=True))
        if numbers:
            log.info("booked in", bookings=list(numbers.values()), units=[unit for _, unit in first])
        there = taken | numbers
        return [
            there[_key(booking)] if first.get(_key(booking)) == i else _twice(booking, there[_key(booking)])
            for i, booking in enumerate(bookings)
        ]

    def _insert(self, db: sa.Connection, fresh: Sequence[Booking]) -> list[int]:
        if not fresh:
            return []
        now_ns = self._wall_ns()
        rows = [_columns(booking) | {"booked_ns": now_ns, "changed_ns": now_ns} for booking in fresh]
        # many rows a statement: 1000 one by one took 1.5 s, in which the store's writer waits
        insert = BOOKING.insert().returning(BOOKING.c.booking, sort_by_parameter_order=True)
        numbers = list(db.execute(insert, rows).scalars())
        named = [
            {"booking": number, "name": booking.customer}
            for number, booking in zip(numbers, fresh, strict=True)
            if booking.customer
        ]
        if named:
            db.execute(CUSTOMER.insert(), named)
        return numbers

    def change(self, number: int, booking: Booking) -> None:
        """Put a booking's newer state in its place; a customer that is left out stays. Raises NoSuch, Refused."""
        with self._writing() as db:
            self._row(db, number)
            taken = self._taken(db, [booking]).get(_key(booking), number)
            if taken != number:
                raise _twice(booking, taken)
            values = _columns(booking) | {"changed_ns": self._wall_ns()}
            db.execute(BOOKING.update().where(BOOKING.c.booking == number).values(values))
            if booking.customer:
                db.execute(CUSTOMER.delete().where(CUSTOMER.c.booking == number))
                db.execute(CUSTOMER.insert().values(booking=number, name=booking.customer))
        log.info("booking changed", booking=number, number=booking.number)

    def erase_customer(self, number: int) -> None:
        """Remove the customer of a booking from the file and its log, byte for byte; again is no error.

        Copies that were made of the file before (a backup) are out of reach. Raises NoSuch, and Refused where the
        log is kept by a reader: then to be called again.
        """
        with self._writing() as db:
            self._row(db, number)
            db.execute(CUSTOMER.delete().where(CUSTOMER.c.booking == number))
        self._sweep()
        log.info("customer erased", booking=number)

    def keep_type(self, device: DeviceType) -> None:
        """Put a device type into the library, or its newer data in its place."""
        values = device.model_dump()
        with self._writing() as db:
            if db.execute(DEVICE_TYPE.update().where(DEVICE_TYPE.c.name == device.name).values(values)).rowcount:
                return
            if db.execute(sa.select(sa.func.count()).select_from(DEVICE_TYPE)).scalar_one() >= MOST_TYPES:
                raise Refused(f"the library has {MOST_TYPES} device types: remove some")
            db.execute(DEVICE_TYPE.insert().values(values))

    def remove_type(self, name: str) -> None:
        """Take a device type out of the library; bookings keep the data that they took from it. Raises NoSuch."""
        with self._writing() as db:
            if not db.execute(DEVICE_TYPE.delete().where(DEVICE_TYPE.c.name == name)).rowcount:
                raise NoSuch("device type", name, list(db.execute(sa.select(DEVICE_TYPE.c.name)).scalars()))

    # the file ------------------------------------------------------------------------------------------------

    @contextmanager
    def _reading(self) -> Iterator[sa.Connection]:
        try:
            with self._engine.connect() as db:
                yield db
        except sa.exc.DBAPIError as err:
            raise StoreUnfit(self._path, str(err.orig)) from None  # its trace would hold the values

    @contextmanager
    def _writing(self) -> Iterator[sa.Connection]:
        try:
            with self._engine.connect() as db:
                if self._on_sqlite:
                    # what is overwritten or deleted is zeroed, so that nothing of a name is left in a freed place
                    db.exec_driver_sql("PRAGMA secure_delete = ON")
                    # the write lock first: a reader that grows into a writer is refused at once where another wrote
                    db.exec_driver_sql("BEGIN IMMEDIATE")
                yield db
                db.commit()
        except sa.exc.DBAPIError as err:
            raise Refused(f"the catalog can't be written now: {err.orig}; try again") from None

    @property
    def _on_sqlite(self) -> bool:
        return self._engine.dialect.name == "sqlite"

    def _sweep(self) -> None:
        if not self._on_sqlite:
            return
        try:
            with self._engine.connect() as plain:
                db = plain.execution_options(isolation_level="AUTOCOMMIT")
                # a page that was split keeps copies between its cells (2 names of 600 measured): each is written anew
                db.exec_driver_sql("VACUUM")
                # and the log, which has the pages as they were, is folded back and cut off
                end_s = time.monotonic() + ERASE_S
                while db.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").scalar_one():
                    if time.monotonic() > end_s:
                        raise Refused(STILL_READ)
        except sa.exc.DBAPIError as err:
            raise Refused(f"{STILL_READ} ({err.orig})") from None

    def _row(self, db: sa.Connection, booking: int) -> sa.RowMapping:
        row = db.execute(sa.select(BOOKING).where(BOOKING.c.booking == booking)).mappings().first()
        if row is None:
            newest = sa.select(BOOKING.c.booking).order_by(BOOKING.c.booking.desc()).limit(20)
            raise NoSuch("booking", booking, [str(known) for known in sorted(db.execute(newest).scalars())])
        return row

    def _taken(self, db: sa.Connection, bookings: Sequence[Booking]) -> dict[tuple[str, str], int]:
        query = sa.select(BOOKING.c.number, BOOKING.c.unit, BOOKING.c.booking)
        rows = db.execute(query.where(BOOKING.c.number.in_({booking.number for booking in bookings})))
        return {(number, unit): booking for number, unit, booking in rows}


def _key(booking: Booking) -> tuple[str, str]:
    return booking.number, booking.unit


def _twice(booking: Booking, there: int) -> Refused:
    return Refused(f"{booking.unit!r} is booked in already for job {booking.number!r}: booking {there}")


_PLAIN = ("number", "unit", "kind", "serial")
_FITTED = {"device_type": "type", **{name: name for name in ("lot", "bias_method", *DeviceData.model_fields)}}
_MEASURED = {"device", "before", "after"}


def _columns(booking: Booking) -> dict[str, Any]:
    values: dict[str, Any] = {name: getattr(booking, name) for name in _PLAIN}
    values |= {column: getattr(booking.fitted, name) for column, name in _FITTED.items()}
    return values | {"set_up": booking.model_dump(include=_MEASURED)}


def _view(row: sa.RowMapping, jobs: list[int], customer: str | None = None) -> BookingView:
    fitted = {name: row[column] for column, name in _FITTED.items()}
    sheet = Sheet.model_validate(row["set_up"] | {"fitted": fitted})
    plain = {name: row[name] for name in (*_PLAIN, "booking", "booked_ns", "changed_ns")}
    parts = {name: getattr(sheet, name) for name in Sheet.model_fields}
    return BookingView(**plain, **parts, customer=customer, jobs=jobs)


def _filled(sheet: S, known: sa.RowMapping) -> S:
    lacking = [name for name in DeviceData.model_fields if getattr(sheet.fitted, name) is None]
    fitted = sheet.fitted.model_copy(update={name: known[name] for name in lacking})
    return sheet.model_copy(update={"fitted": fitted})


def _jobs(db: sa.Connection, bookings: Sequence[int]) -> dict[int, list[int]]:
    query = sa.select(JOBS.c.job, JOBS.c.booking).where(JOBS.c.booking.in_(bookings)).order_by(JOBS.c.job)
    found: dict[int, list[int]] = {}
    for job, booking in db.execute(query):
        found.setdefault(booking, []).append(job)
    return found
