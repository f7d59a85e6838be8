"""What is around the daemon fails: the broker is killed, the disk is full, the API is flooded, a key sticks."""

import contextlib
import os
import subprocess
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from daemon.api.alert_models import ReasonOrder
from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.api.models import SoakOrder
from daemon.store.reserve import FOR_A_START, NAME
from tests.conftest import Broker
from tests.daemon.delivery.conftest import Hook
from tests.journeys.children import Child, until
from tests.journeys.rig import BAYS, LEASE_S, LONG, MQTT, RATE_HZ, SERIAL, Rig

pytestmark = pytest.mark.journey

SLACK_S = 0.5
DISK_BYTES = 12 * 2**20


def test_a_killed_broker_unkeys_its_bays_by_their_lease_and_the_list_says_why(rig: Rig, mosquitto: Broker) -> None:
    """kill -9 of the broker: both MQTT bays end as incomplete with the link named, both serial ones soak on."""
    rig.start_daemon()
    rig.soak_keyed()
    since = rig.twins.mark()
    killed_s = time.monotonic()
    mosquitto.kill()
    for bay in MQTT:
        off = rig.twins.event("key", bay, since, on=False)
        assert off["clock_s"] - killed_s < LEASE_S + SLACK_S
        view = rig.ended(bay)
        assert (view.status, view.verdict) == ("tripped", "incomplete")
        assert "no pack" in view.reasons[0]

    def told() -> bool:
        # one cause, one alert: the bays of one broker may be folded under the first of them
        alerts = [alert for top in rig.client.alerts() for alert in (top, *top.folded)]
        return {alert.bay for alert in alerts if alert.rule == "link-lost"} == set(MQTT)

    until(told, "both lost links on the alert list")
    assert [rig.bay(bay).status for bay in SERIAL] == ["keyed"] * 2


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of a few megabytes where the daemon keeps its readings."""
    folder = tmp_path / "data"
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", str(folder)]
    if subprocess.run(words, check=False, capture_output=True).returncode:
        pytest.skip("no small disk: mount needs the rights of an administrator")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


def fill_up(ballast: Path) -> None:
    """Leave no room beside it."""
    with contextlib.suppress(OSError), ballast.open("ab", buffering=0) as file:
        while True:
            os.write(file.fileno(), bytes(4096))


def test_a_full_disk_stops_no_soak_is_told_and_loses_nothing_once_there_is_room(
    small_disk: Path, rig: Rig, hook: Hook
) -> None:
    """A person is told while what was set aside lasts; then readings wait in memory, and all are kept in the end."""
    rig.more = f'[[tell]]\nname = "duty"\nurl = "{hook.url}"\n'
    rig.start_daemon()
    rig.soak_keyed()
    since = rig.twins.mark()
    ballast = small_disk / "ballast"
    fill_up(ballast)
    # whatever met the full disk first is told first, and has its own words for it
    until(lambda: "disk is full" in rig.client.rack().note, "that the disk is full")
    stands = until(lambda: [a for a in rig.client.alerts() if a.rule == "not-kept"], "the alert")[0]
    assert (stands.state, stands.bay) == ("unacknowledged", "")
    assert "Make room on the disk" in stands.text
    until(lambda: "whole rack: not-kept warning" in hook.titles, "that a person is told")
    until(lambda: rig.client.tell().targets[0].state == "idle", "that it is marked as told")

    fill_up(ballast)
    until(lambda: "can't be written to disk" in rig.client.rack().note, "that there is no room at all")
    behind = until(lambda: rig.client.health().store_behind, "readings that wait")
    until(lambda: rig.client.health().store_behind > behind + 2 * RATE_HZ, "more of them")
    assert [rig.bay(bay).status for bay in BAYS] == ["keyed"] * len(BAYS)
    with pytest.raises(ApiError, match="no record of itself"):
        rig.client.soak("bay-2", SoakOrder(plan=LONG))

    # a trip needs no disk
    rig.twins.do("fault", "bay-1", fault={"kind": "bad-load", "gamma": 0.7})
    rig.twins.event("key", "bay-1", since, on=False, why="told")
    assert rig.ended("bay-1").verdict == "incomplete"

    ballast.unlink()
    until(lambda: not rig.client.health().store_error, "that the disk has room")
    until(lambda: rig.client.health().store_behind == 0, "that all is kept")
    assert rig.kept("bay-1").verdict == "incomplete"
    alerts = {alert.rule: alert for alert in rig.client.alerts()}
    assert {"not-kept", "reflected-power"} <= set(alerts)
    until(lambda: rig.client.alert(stands.id).state == "returned", "that readings are kept again")
    for bay in BAYS:
        seqs = rig.kept_seqs(bay)
        assert all(b - a == 1 for a, b in pairwise(seqs)), f"{bay} lost readings"
    assert '"on": false' not in "".join(line for line in rig.twins.said[since:] if "bay-1" not in line)
    assert hook.titles.count("whole rack: not-kept warning") == 1
    until((small_disk / NAME).is_file, "that room is set aside again")


def test_a_daemon_that_starts_on_a_full_disk_says_so_and_still_cuts_off_a_stuck_key(
    small_disk: Path, rig: Rig, hook: Hook
) -> None:
    """What is set aside for a start lets it open its store and tell a person; readings wait, and are kept."""
    rig.more = f'[[tell]]\nname = "duty"\nurl = "{hook.url}"\n'
    rig.start_daemon()
    until((small_disk / FOR_A_START).is_file, "that room is set aside for a start")
    rig.twins.do("fault", "bay-1", fault={"kind": "stuck-key"})
    rig.soak_keyed()
    assert rig.daemon.end() == 0  # all told to unkey; one can't
    ballast = small_disk / "ballast"
    fill_up(ballast)

    rig.start_daemon()
    assert not (small_disk / FOR_A_START).exists()
    assert "disk is full" in rig.client.rack().note
    stands = until(lambda: [a for a in rig.client.alerts() if a.rule == "not-kept"], "the alert")[0]
    assert "Make room on the disk" in stands.text
    until(lambda: "whole rack: not-kept warning" in hook.titles, "that a person is told")
    with pytest.raises(ApiError, match="no record of itself"):
        rig.client.soak("bay-2", SoakOrder(plan=LONG))
    until(lambda: rig.bay("bay-1").supply_cut, "the cut")
    assert set(rig.client.unkey().bays) == set(BAYS)

    fill_up(ballast)
    until(lambda: "can't be written to disk" in rig.client.rack().note, "that there is no room at all")
    ballast.unlink()
    until(lambda: not rig.client.health().store_error, "that the disk has room")
    until(lambda: rig.client.health().store_behind == 0, "that all is kept")
    for bay in SERIAL:
        of_this_run = [b - a for a, b in pairwise(rig.kept_seqs(bay)[-10:])]
        assert of_this_run == [1] * 9, f"{bay} lost readings"
    assert any(a.rule == "keying" and a.bay == "bay-1" for top in rig.client.alerts() for a in (top, *top.folded))
    rig.soak_keyed(bays=["bay-2"])


def test_a_daemon_that_finds_no_room_at_all_says_what_to_do(small_disk: Path, rig: Rig) -> None:
    """Nothing was ever set aside there: it ends, and names the disk rather than a file's error."""
    fill_up(small_disk / "ballast")
    with pytest.raises(AssertionError, match="the disk is full: make room on it, then start again"):
        rig.start_daemon()


def test_a_flooded_api_holds_up_neither_a_trip_nor_a_person_s_unkey(rig: Rig) -> None:
    """400 questions a second from eight callers: no lease lapses, a fault trips, a press unkeys within a second."""
    rig.start_daemon()
    rig.soak_keyed()
    since = rig.twins.mark()
    flood = Child(rig.folder, "flood", "tests.bench.unkey_loads", "flood", rig.client.url)
    try:
        packs = {bay: rig.link(bay).packs for bay in BAYS}
        for bay in BAYS:
            rig.packs(bay, packs[bay] + round(2 * LEASE_S * RATE_HZ))
        assert '"on": false' not in "".join(rig.twins.said[since:])
        with Client(rig.client.url) as person:
            pressed_s = time.monotonic()
            person.unkey("bay-3")
        off = rig.twins.event("key", "bay-3", since, on=False)
        assert off["why"] == "told"
        assert off["clock_s"] - pressed_s < 1.0
        rig.twins.do("fault", "bay-2", fault={"kind": "bad-load", "gamma": 0.7})
        assert rig.twins.event("key", "bay-2", since, on=False)["why"] == "told"
        assert "SWR" in rig.ended("bay-2").reasons[0]
        assert any((a.bay, a.rule) == ("bay-2", "reflected-power") for a in rig.client.alerts())
    finally:
        flood.end()
    assert [rig.bay(bay).status for bay in ("bay-1", "bay-4")] == ["keyed"] * 2


@pytest.mark.parametrize("bay", [SERIAL[0], MQTT[0]])
def test_a_stuck_key_is_cut_off_over_a_real_link_until_a_person_releases_it(rig: Rig, bay: str) -> None:
    """The contact welds; unkeyed, the radio draws on; its supply is cut, said, latched, and released with a note."""
    rig.start_daemon()
    rig.twins.do("fault", bay, fault={"kind": "stuck-key"})
    rig.soak_keyed(bays=[bay])
    rig.client.unkey(bay)
    until(lambda: rig.bay(bay).supply_cut, "the cut")

    def reading(channel: str) -> float | None:
        return next(one.value for one in rig.bay(bay).readings if one.channel == channel)

    until(lambda: reading("cut") == 1.0 and (reading("drain-1") or 0.0) < 0.1, "no current")
    alerts = [alert for top in rig.client.alerts() for alert in (top, *top.folded) if alert.bay == bay]
    assert any("supply cut" in alert.text for alert in alerts)
    with pytest.raises(ApiError, match=f"supply of {bay} is cut"):
        rig.client.soak(bay, SoakOrder(plan=LONG))
    with pytest.raises(ApiError, match="note"):
        rig.client.release(bay, ReasonOrder.model_construct(person="Ana", note=" "))
    rig.client.release(bay, ReasonOrder(person="Ana", note="looked at the relay"))
    until(lambda: not rig.bay(bay).supply_cut, "the release")
