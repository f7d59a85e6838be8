"""A serial port that comes and goes, is held by another, or whose readings meet a fault of ours."""

import asyncio
from pathlib import Path

import pytest

from sensors.serial_link import SerialLink
from sensors.types import Frame
from tests.sensors.serial_rig import Plug, line, link_to, running, until

pytestmark = pytest.mark.usefixtures("nothing_left_running")


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
