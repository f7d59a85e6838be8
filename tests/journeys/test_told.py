"""From a radio that grows too hot to the person who is told of it, over a whole rack and a kill -9."""

import pytest

from tests.conftest import Broker
from tests.daemon.delivery.conftest import Hook
from tests.daemon.delivery.test_retained import kept
from tests.journeys.children import until
from tests.journeys.rig import Rig, plan

pytestmark = pytest.mark.journey

#: the twins' rooms have 22 °C: every radio is over this as soon as it is keyed
HOT = plan(("carrier", 600.0), limits="heatsink_c = 24.0\ntemperature_dwell_s = 1.0\n")
TRIP = "bay-1: over-temperature trip"


def test_a_trip_is_told_once_over_a_server_that_is_down_and_a_daemon_that_is_killed(
    rig: Rig, mosquitto: Broker, hook: Hook
) -> None:
    """The message waits for its server; it is retained on the broker; a new daemon tells nobody again."""
    rig.more = f'[[tell]]\nname = "duty"\nurl = "{hook.url}"\npriorities = ["trip"]\n'
    hook.stop()
    rig.start_daemon()
    rig.soak(HOT, ["bay-1"])
    until(lambda: rig.client.health().tell_error, "that the target can't be told")
    assert "duty can't be told" in rig.client.rack().note
    rig.daemon.kill()
    hook.start()
    rig.start_daemon()
    until(lambda: TRIP in hook.titles, "the message")
    until(lambda: rig.client.tell().targets[0].state == "idle", "the mark")
    assert "MR-25 no. 011" in hook.bodies[hook.titles.index(TRIP)]
    tripped = [alert for alert in kept(mosquitto).values() if alert["rule"] == "over-temperature"]
    assert [(alert["bay"], alert["priority"]) for alert in tripped] == [("bay-1", "trip")]
    rig.daemon.kill()
    rig.start_daemon()
    until(lambda: rig.client.tell().targets[0].state == "idle", "that nothing waits")
    assert hook.titles.count(TRIP) == 1
