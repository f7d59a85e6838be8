"""A broker that goes away in the middle of a soak, and comes back."""

import pytest

from tests.conftest import Broker
from tests.journeys.rig import BAYS, LEASE_S, MQTT, SERIAL, Rig

pytestmark = pytest.mark.journey


def test_a_broker_that_stays_away_unkeys_its_own_bays_alone_and_nothing_is_lost(rig: Rig, mosquitto: Broker) -> None:
    """MQTT bays unkey within the lease and come back with every pack; bays on serial lines stay keyed throughout."""
    rig.start_daemon()
    rig.soak_keyed()
    since = rig.twins.mark()
    mosquitto.stop()
    for bay in MQTT:
        off = rig.twins.event("key", bay, since, on=False)
        assert off["why"] == "lease ended"
        view = rig.ended(bay)
        assert (view.status, view.verdict) == ("tripped", "incomplete")
        assert "link" in view.reasons[0]
    packs = {bay: rig.link(bay).packs for bay in MQTT}
    mosquitto.start()
    for bay in MQTT:
        rig.packs(bay, more_than=packs[bay] + 5)
        link = rig.link(bay)
        assert link.connected
        assert link.presence == "online"
        assert (link.lost, link.restarts) == (0, 0), f"{link}\n{rig.kept_seqs(bay)}\n{rig.twins.said[since:]}"
        assert not rig.bay(bay).key_lent
    for bay in SERIAL:
        assert rig.bay(bay).status == "keyed"
        assert rig.bay(bay).key_seen
    assert not any('"on": false' in line and bay in line for line in rig.twins.said[since:] for bay in SERIAL)
    # a bay that came back soaks again
    rig.soak_keyed(bays=MQTT)
    assert rig.daemon.end() == 0, rig.daemon.log()
    for bay in BAYS:
        seqs = rig.kept_seqs(bay)
        assert sorted(seqs) == list(range(min(seqs), min(seqs) + len(seqs))), f"{bay} lost packs"


def test_a_broker_that_is_back_at_once_stops_no_soak(rig: Rig, mosquitto: Broker) -> None:
    """With a lease longer than the restart, MQTT bays go on with their soak, and no pack is lost."""
    rig.lease_s = 10 * LEASE_S
    rig.start_daemon()
    rig.soak_keyed()
    packs = {bay: rig.link(bay).packs for bay in BAYS}
    connected = {bay: rig.twins.mark() for bay in MQTT}
    mosquitto.stop()
    mosquitto.start()
    for bay in MQTT:
        rig.twins.event("ready", bay, connected[bay])
    for bay in BAYS:
        rig.packs(bay, more_than=packs[bay] + 15)
        view = rig.bay(bay)
        assert (view.status, view.verdict, view.key_seen) == ("keyed", None, True)
        assert rig.link(bay).lost == 0
