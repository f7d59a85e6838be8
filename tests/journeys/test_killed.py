"""What happens to keyed radios, and to what was kept, when the daemon dies or is restarted."""

import itertools
import time

import pytest

from daemon.api.alert_models import ReasonOrder
from daemon.store.reader import Reader
from tests.journeys.rig import BAYS, LEASE_S, MQTT, RATE_HZ, Rig

pytestmark = pytest.mark.journey

#: a node looks at its lease 50 times a second; the machine is shared
SLACK_S = 0.4
#: a loan may lie on the way for a moment before the node counts it, most of all behind a broker
ON_THE_WAY_S = 0.1


def test_kill_9_on_the_daemon_and_every_twin_is_unkeyed_within_its_lease(rig: Rig) -> None:
    """No part of the daemon needs to live for a radio to be unkeyed."""
    daemon = rig.start_daemon()
    rig.soak_keyed()
    since = rig.twins.mark()
    killed_s = daemon.kill()
    for bay in BAYS:
        off = rig.twins.event("key", bay, since, on=False)
        assert off["why"] == "lease ended"
        assert off["clock_s"] - killed_s < LEASE_S + ON_THE_WAY_S + SLACK_S


def test_what_was_kept_before_a_kill_9_is_there_after_it_and_the_soaks_are_incomplete(rig: Rig) -> None:
    """Frames older than a second are on the disk without a gap; the next daemon closes the soaks, keys nothing."""
    daemon = rig.start_daemon()
    rig.soak_keyed()
    for bay, packs in {bay: rig.link(bay).packs for bay in BAYS}.items():
        rig.packs(bay, more_than=packs + round(5 * RATE_HZ))
    seen = {bay: rig.link(bay).packs for bay in BAYS}
    daemon.kill()
    for bay in BAYS:
        seqs = rig.kept_seqs(bay)
        assert seqs == list(range(seqs[0], seqs[0] + len(seqs)))
        # one second between commits, and one pack on the way
        assert len(seqs) >= seen[bay] - RATE_HZ - 1
    before = {bay: rig.kept_seqs(bay) for bay in BAYS}

    since = rig.twins.mark()
    rig.start_daemon()
    for bay in BAYS:
        job = rig.kept(bay)
        assert job.verdict == "incomplete"
        assert job.reasons
        assert rig.bay(bay).status == "empty"
        assert all(a < b for a, b in itertools.pairwise(rig.kept_seqs(bay)))
        assert set(before[bay]) <= set(rig.kept_seqs(bay))
    # one cause, one alert: the first bay's, with the others folded under it; a person resets it
    (lost,) = rig.client.alerts()
    assert (lost.rule, lost.state, lost.priority) == ("link-lost", "latched", "trip")
    assert "the daemon ended in mid-soak" in lost.text
    assert {lost.bay, *(one.bay for one in lost.folded)} == set(BAYS)
    assert rig.client.reset(lost.id, ReasonOrder(person="Ada", note="looked at the log")).done
    assert rig.client.alerts() == []
    assert not any('"on": true' in line for line in rig.twins.said[since:])


def test_a_daemon_that_is_restarted_unkeys_at_once_and_misses_no_pack_of_a_node_on_a_broker(rig: Rig) -> None:
    """Every twin is told before the daemon has ended; the broker keeps the packs until the next daemon is there."""
    daemon = rig.start_daemon()
    rig.soak_keyed()
    since = rig.twins.mark()
    assert daemon.end() == 0, daemon.log()
    away_ns = time.time_ns()
    for bay in BAYS:
        assert rig.twins.event("key", bay, since, on=False)["why"] == "told"
        assert rig.kept(bay).reasons[0] == "unkeyed by the daemon, which was stopped"
    last = {bay: rig.kept_seqs(bay)[-1] for bay in MQTT}
    rig.start_daemon()
    back_ns = time.time_ns()
    assert rig.daemon.end() == 0, rig.daemon.log()
    for bay in MQTT:
        frames = [frame for frame in Reader(rig.data).frames(bay, 0, 2**63 - 1) if frame.seq > last[bay]]
        assert [frame.seq for frame in frames] == list(range(last[bay] + 1, last[bay] + 1 + len(frames)))
        # starting takes a daemon a good part of a second at the least
        assert sum(away_ns < frame.time_ns < back_ns for frame in frames) >= 2
