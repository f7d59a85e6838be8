"""The daemon is stopped, its processes die, its wall clock is stepped: leases hold, and what can go on goes on."""

import os
import signal
import time
from itertools import pairwise
from pathlib import Path

import pytest

from daemon.api.errors import ApiError
from tests.journeys.children import until
from tests.journeys.rig import BAYS, LEASE_S, RACK, Rig, plan

pytestmark = pytest.mark.journey

#: a node looks at its lease 50 times a second; the machine is shared
SLACK_S = 0.5


def keyed_again(rig: Rig, since: int) -> list[str]:
    """Events of a key that went down since then."""
    return [line for line in rig.twins.said[since:] if '"on": true' in line]


def test_a_stopped_daemon_unkeys_every_twin_by_its_lease_and_does_not_key_it_when_it_goes_on(rig: Rig) -> None:
    """SIGSTOP, then SIGCONT: each soak is over, incomplete, and bay and alert list say that the daemon stood still."""
    rig.start_daemon()
    rig.soak_keyed()
    since = rig.twins.mark()
    stopped_s = time.monotonic()
    rig.daemon.process.send_signal(signal.SIGSTOP)
    try:
        for bay in BAYS:
            off = rig.twins.event("key", bay, since, on=False)
            assert off["why"] == "lease ended"
            assert off["clock_s"] - stopped_s < LEASE_S + SLACK_S
        with pytest.raises(ApiError, match="pull the key lines by hand"):
            rig.client.health()
    finally:
        rig.daemon.process.send_signal(signal.SIGCONT)
    for bay in BAYS:
        view = rig.ended(bay)
        assert (view.status, view.verdict) == ("tripped", "incomplete")
        assert any("the daemon stood still" in reason for reason in view.reasons), view.reasons
    # the bays of one broker are folded under the first of them
    alerts = [alert for top in rig.client.alerts() for alert in (top, *top.folded)]
    assert {alert.bay for alert in alerts if alert.rule == "link-lost"} == set(BAYS)
    until(lambda: rig.client.health().store_behind == 0, "that all is kept")
    assert {rig.kept(bay).verdict for bay in BAYS} == {"incomplete"}
    assert not keyed_again(rig, since)


def test_the_daemon_s_processes_may_die_and_every_soak_goes_on(rig: Rig) -> None:
    """All are started again, the API at the same address; no key comes up meanwhile, and no reading is lost."""
    rig.start_daemon()
    rig.soak_keyed()
    since = rig.twins.mark()
    children = _children_of(rig.daemon.process.pid)
    assert sorted(children) == ["front", "history", "writing"]
    for pid in children.values():
        os.kill(pid, signal.SIGKILL)
    until(lambda: _answers(rig) and len(_new(rig, children)) == len(children), "all of them, after their death")
    assert [rig.bay(bay).status for bay in BAYS] == ["keyed"] * len(BAYS)
    # what had not been kept yet when they died is kept now
    until(lambda: len(rig.client.jobs()) == len(BAYS), "the jobs of all soaks")
    packs = {bay: rig.link(bay).packs for bay in BAYS}
    for bay in BAYS:
        until(lambda bay=bay: len(rig.kept_seqs(bay)) >= packs[bay], "that what had come by then is kept")  # type: ignore[misc]
        assert all(b - a == 1 for a, b in pairwise(rig.kept_seqs(bay))), f"{bay} lost readings"
    assert '"on": false' not in "".join(rig.twins.said[since:])


def test_a_wall_clock_that_is_stepped_by_an_hour_both_ways_changes_no_soak(rig: Rig) -> None:
    """Rules, plan and leases run on the monotonic clock: every soak runs its course; the list says that it was."""
    rig.start_daemon("tests.journeys.stepped")
    before_ns = rig.client.rack().time_ns
    asked_s = 6.0
    rig.soak_keyed(plan(("carrier", asked_s)))
    for number in (signal.SIGUSR1, signal.SIGUSR2, signal.SIGUSR2):
        since = {bay: rig.link(bay).packs for bay in BAYS}
        rig.daemon.process.send_signal(number)
        for bay in BAYS:
            rig.packs(bay, since[bay] + 4)
    assert rig.client.rack().rack == RACK
    assert rig.client.rack().time_ns < before_ns - 3000 * 10**9  # it did step
    said = until(lambda: next((a for a in rig.client.alerts() if a.rule == "wall-clock"), None), "the alert")
    assert (said.state, said.bay, said.priority) == ("returned", "", "advisory")
    assert "set back by" in said.text
    for bay in BAYS:
        view = rig.ended(bay)
        assert (view.status, view.verdict) == ("done", "pass"), view.reasons
        assert not view.tags
    until(lambda: rig.client.health().store_behind == 0, "that all is kept")
    for bay in BAYS:
        assert rig.kept(bay).figures["key_down_s"] == pytest.approx(asked_s, abs=1.0)


def _answers(rig: Rig) -> bool:
    try:
        return rig.client.health().rack == RACK
    except ApiError:
        return False


def _new(rig: Rig, children: dict[str, int]) -> dict[str, int]:
    """Those that run now and did not then."""
    return {what: pid for what, pid in _children_of(rig.daemon.process.pid).items() if children.get(what) != pid}


def _children_of(pid: int) -> dict[str, int]:
    """Processes that the daemon ``pid`` has started to serve all along, by what they are."""
    found = {}
    for entry in Path(f"/proc/{pid}/task").glob("*/children"):
        for child in entry.read_text().split():
            words = Path(f"/proc/{child}/cmdline").read_bytes().decode().split("\0")
            if "daemon.api.process" in words:
                found[words[words.index("daemon.api.process") + 1]] = int(child)
            elif "daemon.store.writing" in words:
                found["writing"] = int(child)
    return found
