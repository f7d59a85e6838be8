"""Booking in over the API and by the command: a real socket, a real catalog, and no customer's name in the log."""

import logging
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from typer.testing import CliRunner, Result

from daemon.api.booking_models import Booking, DeviceType, Fitted, Power
from daemon.api.bookings import as_booked, with_heat_data
from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.api.models import SoakOrder
from daemon.bay import Bay
from daemon.booking.kept import Bookings
from daemon.cli.main import app
from daemon.errors import NoSuch, Refused
from daemon.notes import StoreNotes
from daemon.plan import Plan
from daemon.store import Store
from daemon.store.reader import CATALOG
from tests.daemon.api_rig import serving

RACK = """
[[link]]
name = "left"
kind = "serial"
port = "{port}"
[[bay]]
name = "bay-1"
link = "left"
"""
PLAN = '[[phase]]\ndrive = "idle"\nminutes = 1\n'
CUSTOMER = "Zebulon Quaxmire of Nowhere"
UNIT = Booking(number="J-5", unit="MR-25 no. 014", customer=CUSTOMER)
SHEET = f"""
number = "J-5"
unit = "MR-25 no. 014"
customer = "{CUSTOMER}"
[fitted]
type = "type A"
lot = "lot 7"
[[device]]
bias_v = 4.2
idle_a = 0.25
[[device]]
bias_v = 4.21
idle_a = 0.25
[before]
am_carrier_w = 10
ssb_pep_w = 22
meter = "bench wattmeter"
"""


@pytest.fixture
def url(tmp_path: Path) -> Iterator[str]:
    """The API of a rack whose safety loop runs, with nothing to be heard."""
    with serving(tmp_path, RACK) as (_, _, address):
        yield address


def keysoak(url: str, *words: object) -> Result:
    """Run the command to its end."""
    return CliRunner().invoke(app, [*map(str, words), "--api", url])


def test_a_unit_is_booked_in_judged_changed_and_its_customer_erased(url: str) -> None:
    """The way of one booking."""
    with Client(url) as client:
        client.put_device(DeviceType(name="type A", rth_jc_k_w=0.6))
        first = client.book(UNIT.model_copy(update={"before": Power(am_carrier_w=14, fm_w=10)}))
        assert [question.check for question in first.judged.questions] == ["fm-carrier"]
        assert client.booking(first.booking).customer == CUSTOMER
        assert client.bookings("014")[0].customer is None
        again = UNIT.model_copy(update={"customer": None, "after": Power(ssb_pep_w=31)})
        assert client.book(again, over=first.booking).booking == first.booking
        assert client.booking(first.booking).after.ssb_pep_w == 31
        assert "erased" in client.erase_customer(first.booking).done
        assert client.booking(first.booking).customer is None
        assert [device.name for device in client.devices()] == ["type A"]
        client.remove_device("type A")
        assert client.devices() == []


def test_a_sheet_is_judged_while_it_is_typed_with_what_the_library_knows(url: str) -> None:
    """Nothing is kept; a wrong field is named."""
    with Client(url) as client:
        client.put_device(DeviceType(name="type A", rth_jc_k_w=0.6, rth_cs_k_w=0.2, tj_max_c=175))
        judged = client.check_booking({"fitted": {"type": "type A"}, "after": {"fm_w": "x"}})
        assert judged.missing == ["number", "unit"]
        assert [problem.field for problem in judged.problems] == ["after.fm_w"]
        assert "device-data" not in {each.check for each in judged.not_judged}
        assert client.bookings() == []


def test_refusals_have_their_status_and_their_sentence(url: str) -> None:
    """409 what is there already, 404 what is not, 422 with the field, 403 for another site's page."""
    with Client(url) as client:
        client.book(UNIT)
        for call, status, says in (
            (lambda: client.book(UNIT), 409, "booked in already"),
            (lambda: client.booking(9), 404, "no booking 9; known: 1"),
            (lambda: client.book_batch("a,b\n"), 422, "row 1, a: is no column"),
            (lambda: client.remove_device("x"), 404, "no device type 'x'"),
            (lambda: client.soak("bay-1", SoakOrder(plan=PLAN, booking=9)), 404, "no booking 9"),
            (lambda: client.soak("bay-1", SoakOrder(plan=PLAN, booking=1)), 409, "nothing is heard"),
        ):
            with pytest.raises(ApiError, match=says) as caught:
                call()
            assert caught.value.status == status
    wrong = httpx.post(f"{url}/v1/bookings", json={"number": "J", "unit": "u", "before": {"fm_w": -1}}, trust_env=False)
    assert wrong.status_code == 422
    assert "fm_w" in wrong.text
    stranger = {"origin": "http://stranger.example"}
    for method, path in (
        ("POST", "/v1/bookings"),
        ("PUT", "/v1/bookings/1"),
        ("DELETE", "/v1/bookings/1/customer"),
        ("PUT", "/v1/devices"),
        ("POST", "/v1/bookings/batch"),
    ):
        answer = httpx.request(method, url + path, headers=stranger, trust_env=False)
        assert answer.status_code == 403


@pytest.mark.parametrize(
    ("fitted", "in_plan", "used"),
    [
        ({"rth_jc_k_w": 0.9, "rth_cs_k_w": 0.4}, 0.0, 1.3),
        ({"rth_jc_k_w": 0.9, "rth_cs_k_w": 0.4}, 2.0, 2.0),
        ({"rth_jc_k_w": 0.9}, 0.0, 0.0),
        ({}, 0.0, 0.0),
    ],
)
def test_the_junction_is_estimated_by_the_device_data_of_the_booking(
    store: Store, tmp_path: Path, fitted: dict[str, float], in_plan: float, used: float
) -> None:
    """Junction to case and case to sink together (JESD51); what the plan says goes before; half of it is nothing."""
    bookings = Bookings(tmp_path / "data" / CATALOG)
    (number,) = bookings.add([UNIT.model_copy(update={"fitted": Fitted.model_validate(fitted)})])
    assert isinstance(number, int)
    plan = Plan.from_toml(f"{PLAN}[limits]\njunction_k_per_w = {in_plan}\n")
    made = with_heat_data(bookings, number, plan)
    assert made.limits.junction_k_per_w == pytest.approx(used)
    assert made.key_down_s == plan.key_down_s


def test_a_soak_order_takes_number_and_unit_of_its_booking_and_the_job_carries_it(store: Store, tmp_path: Path) -> None:
    """An order that says another unit is refused: it may stand in the wrong bay."""
    bookings = Bookings(tmp_path / "data" / CATALOG)
    (number,) = bookings.add([UNIT])
    assert isinstance(number, int)
    order = as_booked(bookings, SoakOrder(plan=PLAN, booking=number))
    assert (order.number, order.unit, order.booking) == ("J-5", "MR-25 no. 014", number)
    with pytest.raises(Refused, match="which unit is in the bay"):
        as_booked(bookings, SoakOrder(plan=PLAN, booking=number, unit="MR-25 no. 015"))
    with pytest.raises(NoSuch):
        as_booked(bookings, SoakOrder(plan=PLAN, booking=99))

    class NoKeys:
        def lend(self, bay: str, lease_s: float, tone: bool | None) -> None: ...

        def unkey(self, bay: str) -> None: ...

    bay = Bay("bay-1", NoKeys(), StoreNotes(store, aloud=False), sample_s=0.5)
    plan = Plan.from_toml(order.plan)
    bay.start(plan, 0.0, 1, job=1, number=order.number, unit=order.unit, booking=order.booking, blind=True)
    store.flush()
    assert store.job(1).booking == number
    assert bookings.one(number).jobs == [1]


def test_no_customer_is_in_the_log(
    url: str, tmp_path: Path, capfd: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    """Whatever is done with a booking, and whatever goes wrong with it."""
    caplog.set_level(logging.DEBUG)
    with Client(url) as client:
        number = client.book(UNIT).booking
        client.book(UNIT, over=number)
        for call in (
            lambda: client.book(UNIT),
            lambda: client.book(UNIT, over=99),
            lambda: client.book_batch(f"number,unit,customer,oops\nJ,u,{CUSTOMER},1\n"),
        ):
            with pytest.raises(ApiError):
                call()
        client.book_batch(f"number,unit,customer,before_fm_w\nJ-7,u,{CUSTOMER},x\nJ-8,u,{CUSTOMER},1\n")
        too_long = {"number": "J-9", "unit": "u", "customer": CUSTOMER * 30}
        assert httpx.post(f"{url}/v1/bookings", json=too_long, trust_env=False).status_code == 422
        client.check_booking(too_long)
        client.erase_customer(number)
    said = capfd.readouterr()
    logged = said.out + said.err + caplog.text
    assert "booked in" in logged
    assert "Quaxmire" not in logged


# --- by the command ----------------------------------------------------------------------------------------------


def test_one_unit_is_booked_in_by_a_file_and_finished_by_options(url: str, tmp_path: Path) -> None:
    """Options go over the file; power after comes later; questions and gain are printed."""
    file = tmp_path / "sheet.toml"
    file.write_text(SHEET)
    done = keysoak(url, "book", file)
    assert done.exit_code == 0
    assert "booking 1: MR-25 no. 014 for job J-5\n" in done.output
    done = keysoak(url, "book", file, "--over", 1, "--after-ssb-pep", 31, "--after-am", 11.5, "--after-am-pep", 60)
    assert done.exit_code == 0
    assert "gain ssb_pep: +1.5 dB" in done.output
    assert "? after: AM peaks of 60 W" in done.output
    assert "ITU Radio Regulations" in done.output
    assert "not judged: device-data: no junction estimate without R_θJC" in done.output
    with Client(url) as client:
        view = client.booking(1)
    assert (view.before.ssb_pep_w, view.after.ssb_pep_w, view.device[1].bias_v) == (22, 31, 4.21)
    assert keysoak(url, "bookings").output == "1  J-5  MR-25 no. 014\n"
    assert CUSTOMER in keysoak(url, "bookings", 1).output
    assert "erased" in keysoak(url, "bookings", 1, "--erase-customer").output
    assert CUSTOMER not in keysoak(url, "bookings", 1).output


def test_one_unit_is_booked_in_by_options_alone_or_only_checked(url: str) -> None:
    """--check keeps nothing."""
    words = ["book", "--number", "J-9", "--unit", "u", "--bias", 4.2, "--bias", 4.2, "--idle", 0.2, "--idle", 0.4]
    done = keysoak(url, *words, "--check")
    assert done.exit_code == 0
    assert "? Idle currents are 67% of their mean apart" in done.output
    assert keysoak(url, "bookings").output == "nothing is booked in\n"
    assert keysoak(url, *words).exit_code == 0
    with Client(url) as client:
        assert [each.idle_a for each in client.booking(1).device] == [0.2, 0.4]
    done = keysoak(url, "book", "--unit", "u", "--check")
    assert "number: is missing" in done.output


def test_a_batch_keeps_the_good_rows_and_names_the_bad_ones(url: str, tmp_path: Path) -> None:
    """Exit status 2; run again, the rows that are there are named and nothing is twice."""
    file = tmp_path / "batch.csv"
    file.write_text("number,unit,after_fm_w,after_am_carrier_w\nJ-1,a,10,14\nJ-2,b,ten,\nJ-3,c,11,11\n")
    done = keysoak(url, "book", file)
    assert done.exit_code == 2
    assert "row 2: booking 1, a for job J-1\n  ? after: FM gives 10 W" in done.output
    assert "row 4: booking 2, c for job J-3" in done.output
    assert "row 3: after_fm_w: " in done.output
    again = keysoak(url, "book", file)
    assert again.exit_code == 2
    assert "row 2: number: 'a' is booked in already for job 'J-1': booking 1" in again.output
    with Client(url) as client:
        assert [view.booking for view in client.bookings()] == [2, 1]


def test_the_library_is_kept_by_the_command(url: str) -> None:
    """Put in, listed, changed, removed."""
    assert "the library is empty" in keysoak(url, "devices").output
    assert keysoak(url, "devices", "type A", "--rth-jc", 0.6, "--tj-max", 175).exit_code == 0
    assert keysoak(url, "devices").output == "type A: R_θJC 0.6 K/W, T_J max 175 °C\n"
    assert keysoak(url, "devices", "type A", "--remove").exit_code == 0
    assert isinstance(keysoak(url, "devices", "type A").exception, NoSuch)
