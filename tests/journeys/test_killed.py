"""What happens to keyed radios, and to what was kept, when the daemon dies."""

import itertools

import pytest

from tests.journeys.rig import BAYS, LEASE_S, RATE_HZ, Rig

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
    for bay in BAYS:
        rig.packs(bay, more_than=round(5 * RATE_HZ))
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
    assert not any('"on": true' in line for line in rig.twins.said[since:])
