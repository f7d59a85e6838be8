"""What comes over a serial link, over real pseudo-terminals: whole packs, flipped bits, a flood, a restart."""

import asyncio

import pytest

from sensors.framing import seal
from sensors.senml import encode
from tests.sensors.serial_rig import Plug, line, link_to, running, until

pytestmark = pytest.mark.usefixtures("nothing_left_running")


def test_packs_of_all_bays_on_a_line_become_frames_on_the_event_loop(plug: Plug) -> None:
    async def scenario() -> None:
        link = link_to(plug, "bay-1", "bay-2")
        async with running(link) as frames:
            await until(lambda: link.stats.connected, "connected")
            packs = b"".join(line(seq) + line(seq, "bay-2") for seq in range(100))
            await asyncio.to_thread(plug.say, packs)  # more than a pseudo-terminal holds
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
