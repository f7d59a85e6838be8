"""One question to the daemon for all tabs."""

import asyncio
import threading

import pytest

from daemon.api.errors import DaemonSilent
from dashboard.kept import Kept


def test_all_who_ask_at_once_share_one_question_and_its_failure() -> None:
    """However many tabs stand open; one that is closed takes the answer from nobody."""
    asked: list[int] = []
    go = threading.Event()

    def ask() -> str:
        asked.append(1)
        assert go.wait(5)
        if len(asked) == 2:
            raise DaemonSilent("http://127.0.0.1:1", "nobody there")
        return f"answer {len(asked)}"

    async def run() -> None:
        now_s = [0.0]
        kept = Kept(ask, keep_s=1.0, clock=lambda: now_s[0])
        tabs = [asyncio.create_task(kept.now()) for _ in range(3)]
        while not asked:  # noqa: ASYNC110  a thread sets it
            await asyncio.sleep(0.001)
        tabs[0].cancel()
        go.set()
        assert await asyncio.gather(*tabs[1:]) == ["answer 1", "answer 1"]
        now_s[0] = 0.9
        assert await kept.now() == "answer 1"
        now_s[0] = 1.0
        with pytest.raises(DaemonSilent):
            await kept.now()
        assert len(asked) == 2
        kept.stale()
        assert await kept.now() == "answer 3"

    asyncio.run(run())
