"""A plan from its first second to its verdict, on every kind of link at once."""

import pytest

from daemon.store.reader import Reader
from tests.journeys.rig import BAYS, RATE_HZ, Rig, plan

pytestmark = pytest.mark.journey

PHASES = (("off", 1.0), ("idle", 2.0), ("carrier", 7.0))


def test_four_bays_over_serial_lines_and_a_broker_soak_to_a_pass_and_all_of_it_is_kept(rig: Rig) -> None:
    """Every bay passes, is unkeyed at the end, and its job has each pack of the plan, on the disk, in order."""
    rig.start_daemon()
    rig.soak(plan(*PHASES))
    for bay in BAYS:
        view = rig.ended(bay)
        assert (view.verdict, view.status) == ("pass", "done"), view.reasons
        assert not rig.twins.keyed(bay)
        assert rig.client.curves(view.job or 0).frames > 0
    assert rig.client.health().store_error == ""
    assert rig.daemon.end() == 0, rig.daemon.log()

    reader = Reader(rig.data)
    assert {job.bay: job.verdict for job in reader.jobs()} == dict.fromkeys(BAYS, "pass")
    asked_s = sum(seconds for drive, seconds in PHASES if drive != "off")
    whole_s = sum(seconds for _, seconds in PHASES)
    for job in reader.jobs():
        seqs = [frame.seq for frame in reader.job_frames(job.job)]
        # the plan, and the few seconds in which a key that sticks would be seen
        assert len(seqs) >= whole_s * RATE_HZ - 2
        assert seqs == list(range(seqs[0], seqs[0] + len(seqs)))
        assert job.ended_ns
        assert job.figures["key_down_s"] == pytest.approx(asked_s, abs=1.0)
        assert job.figures["forward_mean_w"] == pytest.approx(25.0, rel=0.15)
        # thermal masses of a fiftieth: seven seconds of carrier show a heating curve
        assert (job.figures["heatsink_max_c"] or 0.0) > 30.0
