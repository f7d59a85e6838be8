"""The alert list over a whole rack: one cause, one alert; seen, killed, started again, reset."""

import time

import pytest

from daemon.api.alert_models import AlertView, NoteOrder, ReasonOrder
from tests.journeys.children import until
from tests.journeys.rig import LEASE_S, Rig, plan

pytestmark = pytest.mark.journey

#: a node looks at its lease 50 times a second; the machine is shared
SLACK_S = 0.5
#: a twin of so little thermal mass burns open within a second of a harder short, before any rule has its dwell
SHORT_LIMIT = plan(("carrier", 600.0), limits="device_a = 3.0\n")


def test_a_shorted_device_is_one_alert_that_outlives_a_kill_until_a_person_resets_it(rig: Rig) -> None:
    """Over-current, all else of the device folded under it; beside it, alone, the key that seems stuck for it."""

    def of_bay() -> dict[str, AlertView]:
        return {alert.rule: alert for alert in rig.client.alerts() if alert.bay == "bay-1"}

    def tripped() -> dict[str, AlertView] | None:
        found = of_bay()
        return found if {"over-current", "keying"} <= set(found) else None

    def stuck_again() -> dict[str, AlertView] | None:
        found = tripped()
        return found if found and found["keying"].active else None

    rig.start_daemon()
    rig.soak_keyed(SHORT_LIMIT, ["bay-1"])
    rig.twins.do("fault", "bay-1", fault={"kind": "shorted-device", "ohm": 8.0})
    found = until(tripped, "both alerts")
    assert set(found) == {"over-current", "keying"}
    over, stuck = found["over-current"], found["keying"]
    # the soak that judged the current is over; current flows on, which is judged always
    assert (over.state, over.priority, over.active) == ("latched", "trip", False)
    assert (stuck.state, stuck.active) == ("unacknowledged", True)
    rig.client.acknowledge(over.id, NoteOrder(person="Ann", note="seen"))
    until(lambda: rig.client.health().store_behind == 0, "that all is kept")
    rig.daemon.kill()

    rig.start_daemon()
    # the key is found stuck anew by the readings that come
    again = until(stuck_again, "both alerts, after the kill")
    assert {rule: alert.id for rule, alert in again.items()} == {"over-current": over.id, "keying": stuck.id}
    assert again["over-current"].state == "latched acknowledged"
    assert (again["keying"].state, again["keying"].active) == ("unacknowledged", True)
    assert [change.told for change in again["keying"].history].count(True) == 1
    rig.client.reset(over.id, ReasonOrder(person="Ann", note="device replaced"))
    assert set(of_bay()) == {"keying"}
    # its history is read from the store, which keeps what happens up to a second later
    until(lambda: rig.client.alert(over.id).history[-1].change == "reset", "that the reset is kept")
    last = rig.client.alert(over.id).history[-1]
    assert (last.person, last.note) == ("Ann", "device replaced")


def test_a_pulled_cable_unkeys_by_the_lease_and_is_one_alert_that_is_over_when_the_soak_is(rig: Rig) -> None:
    """Warning, then the trip of the same alert; the soak that it ended is its end, and its latch stays."""
    rig.start_daemon()
    rig.soak_keyed(bays=["bay-1"])
    since = rig.twins.mark()
    pulled_s = time.monotonic()
    rig.twins.do("unplug", "bay-1")
    off = rig.twins.event("key", "bay-1", since, on=False)
    assert off["why"] == "lease ended"
    assert off["clock_s"] - pulled_s < LEASE_S + SLACK_S

    def latched() -> AlertView | None:
        found = [alert for alert in rig.client.alerts() if alert.bay == "bay-1"]
        return found[0] if len(found) == 1 and found[0].state == "latched" else None

    alert = until(latched, "the lost link")
    assert alert.rule == "link-lost"
    assert "soak has ended" in alert.history[-1].note
    assert rig.client.rack().alerts_unacknowledged == 1
