"""The serial link over real pseudo-terminals: what a plug, a flipped bit, a restart and a flood do to it."""

import asyncio
import os
import socket
import threading
import time
import tty
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path

import pytest

from sensors.errors import LineRefused, LinkFailed
from sensors.framing import LineSplitter, open_line, seal
from sensors.lease import NodeLease, key_pack
from sensors.outbox import Outbox
from sensors.senml import encode
from sensors.serial_link import SerialLink
from sensors.serial_session import Session
from sensors.types import Frame

pytestmark = pytest.mark.usefixtures("nothing_left_running")


class Plug:
    """The node's end of a line: the master of a pseudo-terminal behind a symbolic link that stays the same."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.heard: list[bytes] = []
        self._lines = LineSplitter()
        self._master = -1

    def plug(self) -> None:
        """Plug in: a new pseudo-terminal under the old name."""
        self._master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(self._master, False)
        self.path.unlink(missing_ok=True)
        self.path.symlink_to(os.ttyname(slave))
        os.close(slave)

    def pull(self) -> None:
        """Pull the plug."""
        if self._master >= 0:
            os.close(self._master)
            self._master = -1

    def say(self, data: bytes) -> None:
        """Put bytes on the line."""
        while data:
            try:
                data = data[os.write(self._master, data) :]
            except BlockingIOError:
                os.sched_yield()

    def hear(self) -> list[bytes]:
        """All packs heard up to now."""
        try:
            while True:
                for line in self._lines.feed(os.read(self._master, 4096)):
                    with suppress(LineRefused):
                        self.heard.append(open_line(line))
        except OSError:  # nothing more to read, or nobody has the other end open
            return self.heard


async def until(true: Callable[[], object], what: str, timeout_s: float = 10.0) -> None:
    """Wait for something to become true; fails with its name."""
    try:
        async with asyncio.timeout(timeout_s):
            while not true():  # noqa: ASYNC110  what is waited for is outside, and tells no event
                await asyncio.sleep(0.002)
    except TimeoutError:
        pytest.fail(f"did not come true within {timeout_s} s: {what}")


@asynccontextmanager
async def running(link: SerialLink) -> AsyncIterator[list[Frame]]:
    """The link running, and the frames that it delivers."""
    frames: list[Frame] = []
    before = asyncio.all_tasks()
    task = asyncio.create_task(link.run(frames.append))
    try:
        yield frames
    finally:
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        assert asyncio.all_tasks() <= before


def line(seq: int, bay: str = "bay-1", value: float = 40.0) -> bytes:
    """One line of one channel."""
    return seal(encode(bay, 1764054000 + seq / 2, [("heatsink", "Cel", value)], seq))


@pytest.fixture
def plug(tmp_path: Path) -> Plug:
    """A node, plugged in."""
    end = Plug(tmp_path / "ttyNODE")
    end.plug()
    return end


def link_to(plug: Plug, *bays: str, crc: bool = True) -> SerialLink:
    """A link to that node's bays."""
    return SerialLink("left", str(plug.path), {bay: {} for bay in bays or ("bay-1",)}, crc=crc)


def test_packs_of_all_bays_on_a_line_become_frames_on_the_event_loop(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug, "bay-1", "bay-2")
        async with running(link) as frames:
            await until(lambda: link.stats.connected, "connected")
            for seq in range(100):
                plug.say(line(seq) + line(seq, "bay-2"))
            await until(lambda: len(frames) == 200, "200 frames")
        assert [f.seq for f in frames if f.bay == "bay-2"] == list(range(100))
        assert not link.stats.connected
        assert (link.stats.crc_failures, link.stats.refused, link.stats.bays["bay-1"].lost) == (0, 0, 0)

    asyncio.run(scenario())
    plug.pull()


def test_bad_input_is_counted_and_the_next_line_is_taken(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug)
        async with running(link) as frames:
            await until(lambda: link.stats.connected, "connected")
            plug.say(line(0))
            flipped = bytearray(line(1))
            flipped[20] ^= 4
            plug.say(bytes(flipped))
            plug.say(line(2).replace(b" ", b"", 1))
            plug.say(seal(b'[{"bn":"bay-1/","n":"heatsink","u":"Cel","v":NaN}]'))
            plug.say(seal(b'[{"bn":"bay-1/","n":"heatsink","u":"K","v":300},{"n":"seq","v":3}]'))
            plug.say(seal(encode("bay-9", 1.7e9, [("heatsink", "Cel", 1.0)])))
            plug.say(line(4))
            await until(lambda: len(frames) == 3, "the three whole packs")
        stats = link.stats
        assert (stats.crc_failures, stats.refused, stats.strangers) == (2, 1, 1)
        assert (stats.bays["bay-1"].lost, stats.bays["bay-1"].refused) == (2, 1)
        assert [f.seq for f in frames] == [0, 3, 4]

    asyncio.run(scenario())
    plug.pull()


def test_a_line_of_ten_megabytes_is_dropped_in_small_memory_and_the_next_one_is_taken(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug)
        async with running(link) as frames:
            await until(lambda: link.stats.connected, "connected")
            await asyncio.to_thread(plug.say, b"[" * (10 << 20) + b"\n" + line(7))
            await until(lambda: len(frames) == 1, "the line after it")
        assert link.stats.refused == 1
        assert "65545 bytes" in link.stats.last_error

    asyncio.run(scenario())
    plug.pull()


def test_who_joins_in_the_middle_of_a_line_counts_no_fault(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug)
        async with running(link) as frames:
            await until(lambda: link.stats.connected, "connected")
            plug.say(line(0)[30:] + line(1))
            await until(lambda: len(frames) == 1, "the first whole line")
        assert link.stats.crc_failures == 0

    asyncio.run(scenario())
    plug.pull()


def test_lines_without_crc_are_admitted_only_where_that_is_configured(plug: Plug) -> None:
    async def scenario(crc: bool) -> int:
        link = link_to(plug, crc=crc)
        async with running(link) as frames:
            await until(lambda: link.stats.connected, "connected")
            plug.say(line(0).rsplit(b" ", 1)[0] + b"\n" + line(1))
            await until(lambda: frames and frames[-1].seq == 1, "the line with a CRC")
        return len(frames)

    assert asyncio.run(scenario(crc=True)) == 1
    assert asyncio.run(scenario(crc=False)) == 2
    plug.pull()


def test_a_node_restart_is_seen_and_its_frames_are_kept(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug)
        async with running(link) as frames:
            await until(lambda: link.stats.connected, "connected")
            for seq in (70, 71, 0, 1):
                plug.say(line(seq))
            await until(lambda: len(frames) == 4, "all frames")
        assert (link.stats.bays["bay-1"].restarts, link.stats.bays["bay-1"].lost) == (1, 0)

    asyncio.run(scenario())
    plug.pull()


def test_a_pulled_plug_is_noticed_and_one_put_back_under_the_same_name_is_used(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug)
        async with running(link) as frames:
            for life in range(3):
                await until(lambda: link.stats.connected, "connected")
                plug.say(line(life))
                await until(lambda n=life: len(frames) == n + 1, "a frame of this life")  # type: ignore[misc]
                plug.pull()
                await until(lambda: not link.stats.connected, "the loss is noticed", 1.0)
                assert "unplugged" in link.stats.last_error
                plug.plug()
            await until(lambda: link.stats.connected, "connected again", 3.0)
        assert link.stats.connects == 4

    asyncio.run(scenario())
    plug.pull()


def test_a_port_that_is_not_there_yet_is_used_when_it_comes(tmp_path: Path) -> None:
    plug = Plug(tmp_path / "ttyLATE")

    async def scenario() -> None:
        link = link_to(plug)
        async with running(link) as frames:
            await until(lambda: "ttyLATE" in link.stats.last_error, "why it is not connected")
            plug.plug()
            await until(lambda: link.stats.connected, "connected")
            plug.say(line(0))
            await until(lambda: frames, "a frame")

    asyncio.run(scenario())
    plug.pull()


def test_two_links_never_share_a_port_and_the_second_says_why(plug: Plug) -> None:
    async def scenario() -> None:
        first, second = link_to(plug), link_to(plug, "bay-2")
        async with running(first) as frames:
            await until(lambda: first.stats.connected, "connected")
            async with running(second):
                await until(lambda: "another program or link holds this port" in second.stats.last_error, "why")
                plug.say(line(0))
                await until(lambda: frames, "the first goes on")
                assert second.stats.connects == 0

    asyncio.run(scenario())
    plug.pull()


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
    woken, waker = os.pipe()
    outbox = Outbox(time.monotonic)
    outbox.unkey("bay-1")
    with ours:
        ours.setblocking(False)
        theirs.close()
        with pytest.raises(LinkFailed):
            Session("port", ours.fileno(), outbox, time.monotonic).run(
                lambda chunk: [], lambda frames: None, woken, threading.Event()
            )
    order = outbox.next()
    assert order is not None
    assert (order.bay, order.on) == ("bay-1", False)
    os.close(woken)
    os.close(waker)


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


def test_an_error_in_what_is_delivered_to_comes_out_of_the_link(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug)

        def broken(frame: Frame) -> None:
            raise RuntimeError("a bug")

        task = asyncio.create_task(link.run(broken))
        await until(lambda: link.stats.connected, "connected")
        plug.say(line(0))
        with pytest.raises(RuntimeError, match="a bug"):
            await task

    asyncio.run(scenario())
    plug.pull()


def test_an_error_in_a_conversion_comes_out_of_the_link(plug: Plug) -> None:
    async def scenario() -> None:
        def broken(value: float, unit: str) -> tuple[float, int]:
            raise ZeroDivisionError

        link = SerialLink("left", str(plug.path), {"bay-1": {"heatsink": broken}})  # type: ignore[dict-item]
        task = asyncio.create_task(link.run(lambda frame: None))
        await until(lambda: link.stats.connected, "connected")
        plug.say(line(0))
        with pytest.raises(ZeroDivisionError):
            await task

    asyncio.run(scenario())
    plug.pull()
