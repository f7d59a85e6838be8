"""Garbage is looked for in small pieces while keys are lent, and the interpreter's own way comes back at the end."""

import asyncio
import gc
import weakref
from collections.abc import Callable
from typing import cast

from daemon.loop import Rack
from daemon.store import Store
from daemon.tidying import keep_tidy


class Knot:
    """Something that only a look for garbage takes away."""

    def __init__(self) -> None:
        self.own = self


class Lent:
    """A bay of which nothing matters but that its key is lent."""

    lent = True


async def until(true: Callable[[], bool]) -> None:
    """As soon as it is so, within a time far beyond what it takes."""
    async with asyncio.timeout(20):
        while not true():  # noqa: ASYNC110  what it waits for tells nobody
            await asyncio.sleep(0.01)


def test_what_is_thrown_away_while_keys_are_lent_goes_in_small_pieces_and_nothing_else_looks(store: Store) -> None:
    """New knots go within a tick or so, what outlived some ticks within seconds; no full look; then as ever."""
    full: list[int] = []

    def look(phase: str, info: dict[str, int]) -> None:
        if phase == "stop" and info["generation"] == 2:
            full.append(1)

    async def course() -> None:
        rack = Rack([], store)
        rack.bays = cast("dict[str, object]", {"bay-1": Lent()})  # type: ignore[assignment]
        task = asyncio.create_task(keep_tidy(rack))
        await until(lambda: not gc.isenabled())
        gc.callbacks.append(look)
        new = weakref.ref(Knot())
        await until(lambda: new() is None)
        older = Knot()
        gone = weakref.ref(older)
        gc.collect(0)  # so that it has outlived a look
        del older
        assert gone() is not None
        await until(lambda: gone() is None)
        assert not full
        task.cancel()
        await asyncio.wait([task])

    try:
        asyncio.run(course())
    finally:
        if look in gc.callbacks:
            gc.callbacks.remove(look)
    assert gc.isenabled()
    assert gc.get_freeze_count() == 0
