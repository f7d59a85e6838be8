"""Orders of a person through the dashboard to a real daemon."""

import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx

from dashboard.orders import LARGEST_ORDER
from tests.dashboard.conftest import asked, daemon_in

PLAN = '[[phase]]\ndrive = "idle"\nminutes = 1\n'


def test_unkey_all_and_unkey_of_one_bay_are_done_and_said(page: httpx.Client) -> None:
    """The answer names the bays, so that the page can say them."""
    assert page.post("/unkey").json()["done"] == "unkeyed"
    assert page.post("/bay/bay-1/unkey").json() == {"done": "unkeyed", "bays": ["bay-1"]}


def test_an_unkey_of_a_bay_that_is_not_there_says_which_are(page: httpx.Client) -> None:
    """A failed unkey is never taken for one that was done."""
    answer = page.post("/bay/bay-9/unkey")
    assert answer.status_code == 404
    assert "bay-1" in answer.json()["failed"]


def test_without_a_daemon_an_unkey_fails_loudly_and_fast(alone: httpx.Client) -> None:
    """The page gives it three seconds."""
    began_s = time.monotonic()
    answer = alone.post("/unkey")
    assert time.monotonic() - began_s < 3
    assert answer.status_code == 502
    assert "does not answer" in answer.json()["failed"]


def test_a_form_that_was_sent_without_scripts_gets_a_page(page: httpx.Client, alone: httpx.Client) -> None:
    """The red button works in a browser whose scripts never came."""
    headers = {"accept": "text/html", "content-type": "application/x-www-form-urlencoded"}
    assert "<h1>Done</h1>" in page.post("/unkey", headers=headers).text
    failed = alone.post("/unkey", headers=headers)
    assert "<h1>FAILED</h1>" in failed.text
    assert "pull its key line" in failed.text


def test_a_plan_that_is_wrong_is_told_field_by_field(page: httpx.Client) -> None:
    """The daemon's words reach the form."""
    order = {"plan": '[[phase]]\ndrive = "loud"\nminutes = -1\n'}
    answer = page.post("/bay/bay-1/soak", json=order)
    assert answer.status_code == 422
    assert "phase[1].drive" in answer.json()["failed"]
    assert "phase[1].minutes" in answer.json()["failed"]


def test_an_order_that_is_no_order_names_the_field(page: httpx.Client) -> None:
    """A missing plan, an unknown field, no JSON at all, and far too much of it."""
    assert "plan" in page.post("/bay/bay-1/soak", json={}).json()["failed"]
    assert "power" in page.post("/bay/bay-1/soak", json={"plan": PLAN, "power": 1}).json()["failed"]
    assert page.post("/bay/bay-1/soak", content=b"\x00").status_code == 422
    assert page.post("/bay/bay-1/soak", content=b"x" * (LARGEST_ORDER + 1)).status_code == 413


def test_done_where_nothing_is_asked_says_why_not(page: httpx.Client) -> None:
    """The daemon's refusal reaches the person."""
    answer = page.post("/bay/bay-1/done")
    assert answer.status_code == 409
    assert answer.json()["failed"]


def test_a_soak_begins_and_shows_on_the_rack(tmp_path: Path) -> None:
    """From the form to the live state."""
    with daemon_in(tmp_path) as api, asked(api) as page:
        order = {"plan": PLAN, "number": "J-7", "unit": "MR-25 no. 007"}
        answer = page.post("/bay/bay-2/soak", json=order)
        # nothing was ever heard from this bay: a daemon may rightly refuse to key it, but then it says why
        if answer.status_code == 409:
            assert answer.json()["failed"]
            return
        assert answer.status_code == 200
        ends_s = time.monotonic() + 5
        while time.monotonic() < ends_s:
            shelf = next(b for b in page.get("/live").json()["rack"]["bays"] if b["bay"] == "bay-2")
            if shelf["number"] == "J-7":
                break
        assert (shelf["number"], shelf["unit"]) == ("J-7", "MR-25 no. 007")
        page.post("/bay/bay-2/unkey")


def test_orders_from_many_hands_are_all_answered(page: httpx.Client) -> None:
    """A second press is never lost behind the first."""
    with ThreadPoolExecutor(8) as hands:
        answers = list(hands.map(lambda _: page.post("/unkey").status_code, range(24)))
    assert answers == [200] * 24
