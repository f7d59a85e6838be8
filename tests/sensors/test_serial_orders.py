"""Loans and unkeys over a serial line: in their order, told again, and never held up."""

import asyncio
import os
import socket
import time

import pytest

from sensors.errors import LinkFailed
from sensors.lease import NodeLease, key_pack
from sensors.outbox import Outbox
from sensors.serial_session import Session
from tests.sensors.serial_rig import Plug, line, link_to, running, until

pytestmark = pytest.mark.usefixtures("nothing_left_running")


def test_loans_and_unkeys_reach_the_node(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug)
        node = NodeLease("bay-1")
        async with running(link):
            await until(lambda: link.stats.connected, "connected")
            link.lend("bay-1", 3.0, tone=True)
            await until(lambda: len(plug.hear()) == 1, "the loan")
            assert plug.heard[0] == key_pack("bay-1", 3.0, True, tone=True)
            node.hear(plug.heard[0], 0.0)
            assert node.keyed(2.9)
            link.unkey("bay-1")
            await until(lambda: len(plug.hear()) == 2, "the unkey")
            assert plug.heard[1] == key_pack("bay-1", 0, False)
            link.cut("bay-1", True)
            await until(lambda: len(plug.hear()) == 3, "the cut")
            node.hear(plug.heard[2], 1.0)
            assert node.cut

    asyncio.run(scenario())
    plug.pull()


def test_an_unkey_overtakes_the_renewals_that_wait_for_a_port(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug, "bay-1", "bay-2", "bay-3")
        for bay in ("bay-1", "bay-2", "bay-3"):
            link.lend(bay, 30.0)
        link.unkey("bay-2")
        async with running(link):
            await until(lambda: len(plug.hear()) >= 3, "all that waited")
            assert plug.heard[0] == key_pack("bay-2", 0, False)
            assert sum(b'"bay-2/"' in pack for pack in plug.heard) == 1

    asyncio.run(scenario())
    plug.pull()


def test_an_unkey_asked_for_while_the_plug_is_out_is_told_when_it_is_back(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug)
        async with running(link):
            await until(lambda: link.stats.connected, "connected")
            plug.pull()
            await until(lambda: not link.stats.connected, "the loss is noticed")
            link.lend("bay-1", 3.0)
            link.unkey("bay-1")
            plug.plug()
            await until(plug.hear, "the unkey")
            assert plug.heard == [key_pack("bay-1", 0, False)]

    asyncio.run(scenario())
    plug.pull()


def test_an_unkey_that_was_begun_when_the_plug_was_pulled_waits_to_be_told_again() -> None:
    ours, theirs = socket.socketpair()
    outbox = Outbox(time.monotonic)
    outbox.unkey("bay-1")

    async def scenario() -> None:
        with pytest.raises(LinkFailed):
            await Session("port", ours.fileno(), outbox, time.monotonic, lambda chunk: None).run([])

    with ours:
        ours.setblocking(False)
        theirs.close()
        asyncio.run(scenario())
    order = outbox.next()
    assert order is not None
    assert (order.bay, order.on) == ("bay-1", False)


def test_an_unkey_is_on_the_wire_before_the_call_that_asked_for_it_returns(plug: Plug) -> None:
    """No other task of the loop comes between: whoever is told what follows from a trip waits until the key is up."""

    async def scenario() -> None:
        link = link_to(plug)
        async with running(link):
            await until(lambda: link.stats.connected, "connected")
            link.lend("bay-1", 3.0)
            link.unkey("bay-1")
            # a pseudo-terminal hands on in a moment, in which this loop does nothing
            ends_s = time.monotonic() + 5.0
            while len(plug.hear()) < 2 and time.monotonic() < ends_s:
                os.sched_yield()
            assert plug.heard == [key_pack("bay-1", 3.0, True), key_pack("bay-1", 0, False)]

    asyncio.run(scenario())
    plug.pull()


def test_half_a_line_left_by_an_earlier_connection_spoils_no_unkey(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug)
        async with running(link):
            await until(lambda: link.stats.connected, "connected")
            before = os.open(plug.path, os.O_WRONLY | os.O_NOCTTY)
            os.write(before, b'[{"bn":"ba')
            os.close(before)
            link.unkey("bay-1")
            await until(lambda: key_pack("bay-1", 0, False) in plug.hear(), "the unkey")

    asyncio.run(scenario())
    plug.pull()


def test_a_link_that_ends_unkeys_all_its_bays(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug, "bay-1", "bay-2")
        async with running(link):
            await until(lambda: link.stats.connected, "connected")
            link.lend("bay-1", 3.0)
            await until(plug.hear, "the loan")

    asyncio.run(scenario())
    assert set(plug.hear()[1:]) == {key_pack("bay-1", 0, False), key_pack("bay-2", 0, False)}
    plug.pull()


def test_a_node_that_does_not_read_holds_up_neither_its_packs_nor_the_end(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug)
        async with running(link) as frames:
            await until(lambda: link.stats.connected, "connected")
            for seq in range(200):  # some 90 bytes each, and a pseudo-terminal holds 4 kB
                link.lend("bay-1", 3.0)
                plug.say(line(seq))
                await until(lambda n=seq: len(frames) > n, "a frame")  # type: ignore[misc]
            before_s = asyncio.get_running_loop().time()
        assert asyncio.get_running_loop().time() - before_s < 1.5

    asyncio.run(scenario())
    plug.pull()
