"""Alerts over the control API, with the safety loop running: the list, the rate, every order, and wrong ones."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest
from typer.testing import CliRunner

from alerts.types import Event, Finding, Priority
from daemon.api.alert_models import NoteOrder, ReasonOrder, ShelveOrder
from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.cli.main import app
from daemon.loop import Rack
from tests.daemon.api_rig import serving

RACK = """
[rack]
name = "rack-1"
[api]
port = 0
[[link]]
name = "left"
kind = "serial"
port = "{port}"
[[bay]]
name = "bay-1"
link = "left"
"""

Say = Callable[..., None]


@pytest.fixture
def running(tmp_path: Path) -> Iterator[tuple[str, Say]]:
    """The API's address, and a way to have a rule speak on the loop."""
    with serving(tmp_path, RACK) as (rack, store, address):
        _on_loop(rack, lambda: rack.book.begin("bay-1") if rack.book else None)

        def say(rule: str, event: str = "raised", priority: str = "warning") -> None:
            text = f"{rule} is {event}"
            finding = Finding(1, "bay-1", rule, Event(event), Priority(priority), 2.0, float("nan"), "A", text)
            _on_loop(rack, lambda: rack.book.hear(0, finding) if rack.book else None)
            store.flush()

        yield address, say


def _on_loop(rack: Rack, act: Callable[[], None]) -> None:
    rack.order(lambda _clock_s, _time_ns: act()).result(5)


def test_a_quiet_day_s_list_is_empty_and_its_rate_is_acceptable(running: tuple[str, Say]) -> None:
    """No alert, no flood."""
    with Client(running[0]) as client:
        assert client.alerts() == []
        rate = client.alert_rate()
        assert client.rack().alerts_unacknowledged == 0
    assert (rate.last_10_min, rate.flood, rate.verdict) == (0, False, "very likely acceptable")


def test_the_list_has_the_worst_first_with_effects_history_and_what_may_be_done(running: tuple[str, Say]) -> None:
    """A trip over an older warning; under it what it explains; figures that are not known are None."""
    url, say = running
    say("load-temperature")
    say("over-current", priority="trip")
    say("supply")
    with Client(url) as client:
        found = client.alerts()
        assert client.rack().alerts_unacknowledged == 2
        rate = client.alert_rate()
    assert [(alert.rule, alert.state, alert.unseen, alert.active) for alert in found] == [
        ("over-current", "unacknowledged", True, True),
        ("load-temperature", "unacknowledged", True, True),
    ]
    (effect,) = found[0].folded
    assert (effect.rule, effect.state, effect.cause) == ("supply", "suppressed", found[0].id)
    assert (found[0].value, found[0].limit, found[0].job) == (2.0, None, None)
    assert found[0].text == "over-current is raised"
    assert [change.change for change in found[0].history] == ["raised"]
    assert found[0].may == ["acknowledge", "shelve", "out-of-service"]
    assert rate.last_10_min == 2


def test_every_order_is_carried_out_and_kept_with_person_and_note(running: tuple[str, Say]) -> None:
    """Through the whole life of a trip, to the closed list."""
    url, say = running
    say("over-current", priority="trip")
    with Client(url) as client:
        assert client.acknowledge(1, NoteOrder(person="Ann", note="seen")).done == "alert 1 is acknowledged"
        client.shelve(1, ShelveOrder(person="Ann", minutes=5, reason="waiting for a part"))
        shelved = client.alert(1)
        assert (shelved.state, shelved.may) == ("shelved", ["unshelve", "out-of-service"])
        assert shelved.shelved_until_ns is not None
        assert abs(shelved.shelved_until_ns - time.time_ns() - 300e9) < 60e9
        client.unshelve(1, NoteOrder(person="Ann"))
        client.out_of_service(1, ReasonOrder(person="Ann", note="probe is off"))
        client.in_service(1, NoteOrder(person="Ben"))
        say("over-current", "returned", "trip")
        client.reset(1, ReasonOrder(person="Ben", note="device replaced"))
        assert client.alerts() == []
        with pytest.raises(ApiError) as caught:
            client.acknowledge(1, NoteOrder(person="Ann"))
        assert caught.value.status == 404
        ends_s = time.monotonic() + 10
        while not (closed := client.alerts(closed=10)) and time.monotonic() < ends_s:
            time.sleep(0.01)
    history = closed[0].history
    assert closed[0].state == "normal"
    assert closed[0].may == []
    assert [(line.change, line.person, line.note) for line in history] == [
        ("raised", "", ""),
        ("acknowledged", "Ann", "seen"),
        ("shelved", "Ann", "waiting for a part"),
        ("unshelved", "Ann", ""),
        ("out-of-service", "Ann", "probe is off"),
        ("in-service", "Ben", ""),
        ("returned", "", ""),
        ("acknowledged", "Ben", "device replaced"),
        ("reset", "Ben", "device replaced"),
    ]


def test_an_order_that_can_t_be_carried_out_says_why(running: tuple[str, Say]) -> None:
    """409 with the state; 404 with what is open."""
    url, say = running
    say("supply")
    with Client(url) as client:
        with pytest.raises(ApiError, match="not acknowledged yet") as caught:
            client.unshelve(1, NoteOrder(person="Ann"))
        assert caught.value.status == 409
        with pytest.raises(ApiError, match="still stands"):
            client.reset(1, ReasonOrder(person="Ann", note="x"))
        with pytest.raises(ApiError, match=r"no alert 9.*known: 1") as caught:
            client.alert(9)
        assert caught.value.status == 404


@pytest.mark.parametrize(
    ("order", "body", "field"),
    [
        ("acknowledge", {"note": "x"}, "person"),
        ("acknowledge", {"person": "  "}, "person"),
        ("reset", {"person": "Ann", "note": ""}, "note"),
        ("shelve", {"person": "Ann", "minutes": 0, "reason": "x"}, "minutes"),
        ("shelve", {"person": "Ann", "minutes": 10**9, "reason": "x"}, "minutes"),
        ("shelve", {"person": "Ann", "minutes": 5}, "reason"),
        ("out-of-service", {"person": "Ann"}, "note"),
    ],
)
def test_an_order_without_a_name_an_end_or_a_reason_is_refused(
    running: tuple[str, Say], order: str, body: dict[str, object], field: str
) -> None:
    """422, and the field in the answer."""
    answer = httpx.post(f"{running[0]}/v1/alerts/1/{order}", json=body, trust_env=False)
    assert answer.status_code == 422
    assert field in answer.text


def test_a_stranger_s_page_can_t_hide_an_alert(running: tuple[str, Say]) -> None:
    """The same rule as for a soak."""
    url, say = running
    say("supply")
    body = {"person": "Ann", "minutes": 5, "reason": "x"}
    for order in ("acknowledge", "shelve", "unshelve", "out-of-service", "in-service", "reset"):
        headers = {"origin": "http://stranger.example"}
        answer = httpx.post(f"{url}/v1/alerts/1/{order}", json=body, headers=headers, trust_env=False)
        assert answer.status_code == 403


def test_the_commands_list_alerts_and_acknowledge_one(running: tuple[str, Say]) -> None:
    """Sentences, states, effects set in; then the acknowledgement with its note."""
    url, say = running
    runner = CliRunner()
    assert "no alert is open" in runner.invoke(app, ["alerts", "--api", url]).output
    say("over-current", priority="trip")
    say("supply")
    lines = runner.invoke(app, ["alerts", "--api", url]).output.splitlines()
    assert lines[0].startswith("1  bay-1  over-current: trip, unacknowledged")
    assert lines[1] == "    over-current is raised"
    assert lines[2].startswith("    2  bay-1  supply: warning, suppressed")
    assert "EEMUA 191" in lines[-1]
    done = runner.invoke(app, ["acknowledge", "1", "--note", "seen", "--person", "Ann", "--api", url])
    assert done.output == "alert 1 is acknowledged\n"
    with Client(url) as client:
        last = client.alert(1).history[-1]
    assert (last.person, last.note) == ("Ann", "seen")
