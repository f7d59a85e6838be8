"""Cables that are pulled, nodes that restart, loads that fail and lines full of rubbish, while other bays soak."""

import os
import select
import time
import tty
from pathlib import Path

import pytest

from sensors.framing import seal
from tests.journeys.children import until
from tests.journeys.rig import LEASE_S, SERIAL, Rig, plan

pytestmark = pytest.mark.journey

TEN_MB = 10_000_000


def test_a_pulled_cable_unkeys_its_bay_alone_and_plugged_back_it_soaks_again(rig: Rig) -> None:
    """The node unkeys by its lease, the daemon trips the bay; back on the same port its packs count on."""
    rig.start_daemon()
    rig.soak_keyed()
    since = rig.twins.mark()
    before_s = time.monotonic()
    rig.twins.do("unplug", "bay-1")
    off = rig.twins.event("key", "bay-1", since, on=False)
    assert off["why"] == "lease ended"
    assert off["clock_s"] - before_s < 2 * LEASE_S
    view = rig.ended("bay-1")
    assert (view.status, view.verdict) == ("tripped", "incomplete")
    assert not rig.link("bay-1").connected
    packs = rig.link("bay-1").packs
    rig.twins.do("plug", "bay-1")
    rig.packs("bay-1", more_than=packs)
    assert rig.link("bay-1").connected
    rig.soak_keyed(bays=["bay-1"])
    assert all(rig.bay(bay).status == "keyed" for bay in ("bay-2", "bay-3", "bay-4"))


def test_rubbish_on_a_link_is_counted_and_every_soak_goes_on(rig: Rig) -> None:
    """A flipped bit, NaN, a wrong unit, a line and a message of 10 MB: a count each, and all four bays pass."""
    rig.serial = (*SERIAL, "bay-5")
    rig.lease_s = 3.0  # the contract's: 10 MB twice take a busy machine a while
    master = open_pty(rig.folder / "bay-5")
    try:
        rig.start_daemon()
        rig.soak(plan(("carrier", 9.0)))
        good = b'[{"bn":"bay-1/","n":"ambient","u":"Cel","v":21.5}]'
        flipped = bytearray(seal(good))
        flipped[40] ^= 0x04
        for line in (
            bytes(flipped),
            seal(good.replace(b"21.5", b"NaN")),
            seal(good.replace(b"Cel", b"K")),
            seal(good.replace(b"ambient", b"colour")),
        ):
            rig.twins.do("say", "bay-1", bytes=line.decode())
        rig.twins.do("say", "bay-3", bytes='[{"bn":"bay-3/","n":"ambient","u":"Cel","v":' + "1" * TEN_MB + "}]")
        write_all(master, b"[" * TEN_MB + b"\n")
        write_all(master, seal(b'[{"bn":"bay-5/","n":"heatsink","u":"Cel","v":21.5}]'))

        until(lambda: rig.link("bay-1").unknown, "the last of bay-1's bad lines")
        link = rig.link("bay-1")
        assert (link.crc_failures, link.packs_refused, link.refused, link.unknown) == (1, 1, 1, 1)
        until(lambda: rig.link("bay-3").packs_refused, "the message of 10 MB")
        until(lambda: rig.bay("bay-5").figures.heatsink_c == 21.5, "the good line after 10 MB")
        assert rig.link("bay-5").packs == 1
        assert rig.link("bay-5").last_error
        for bay in ("bay-1", "bay-2", "bay-3", "bay-4"):
            view = rig.ended(bay)
            assert view.verdict == "pass", view.reasons
    finally:
        os.close(master)


def test_a_load_that_goes_bad_trips_its_bay_and_a_node_restart_is_counted(rig: Rig) -> None:
    """The bay with the bad load is told to unkey at once; the node that restarted is keyed again; others go on."""
    rig.start_daemon()
    rig.soak_keyed(plan(("carrier", 600.0), limits="swr_dwell_s = 1.0"))
    since = rig.twins.mark()
    rig.twins.do("fault", "bay-2", fault={"kind": "bad-load", "gamma": 0.5})
    rig.twins.do("restart", "bay-4")
    assert rig.twins.event("key", "bay-2", since, on=False)["why"] == "told"
    view = rig.ended("bay-2")
    assert (view.status, view.verdict) == ("tripped", "incomplete")
    assert any(tag.rule == "reflected-power" and tag.event == "trip" for tag in view.tags)
    assert rig.twins.event("key", "bay-4", since, on=False)["why"] == "restart"
    rig.twins.event("key", "bay-4", since, on=True)
    until(lambda: rig.link("bay-4").restarts == 1, "the restart in bay-4's figures")
    assert all(rig.bay(bay).status == "keyed" for bay in ("bay-1", "bay-3", "bay-4"))


def open_pty(link: Path) -> int:
    """A serial line that the test itself speaks on: a raw pseudo-terminal under this name; returns its master."""
    master, slave = os.openpty()
    tty.setraw(slave)
    link.symlink_to(os.ttyname(slave))
    # the slave stays open: the master would read errors until the daemon has opened it
    os.set_blocking(master, False)
    return master


def write_all(master: int, data: bytes, wait_s: float = 20.0) -> None:
    """Write all of it, as fast as the other side reads."""
    ends_s = time.monotonic() + wait_s
    left = memoryview(data)
    while left:
        assert time.monotonic() < ends_s, f"{len(left)} bytes were not read in {wait_s:g} s"
        if select.select([], [master], [], 0.5)[1]:
            left = left[os.write(master, left) :]
