"""The rack's state: one stream from the daemon for everybody, and to each tab what is new to it."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from typing import Any

import httpx
import pytest
from websockets.asyncio.client import connect

from daemon.api.deltas import BayPicture, Cursor, Patch, Picture
from daemon.api.errors import DaemonSilent
from daemon.api.models import BayStatus, BayView, Reading
from dashboard import live
from dashboard.live import Page, Watch


class Teller:
    """A daemon whose words a test chooses."""

    def __init__(self) -> None:
        self.followed = 0
        self.silent = False
        self.said: asyncio.Queue[Patch] = asyncio.Queue()

    async def follow(self, url: str) -> AsyncIterator[Patch]:
        """Say what the test puts, until it is silent."""
        self.followed += 1
        while not self.silent:
            yield await self.said.get()
        raise DaemonSilent(url, "refused")


def patch(heat_c: float = 41.0) -> Patch:
    """A rack of one bay, as a listener hears of it first."""
    bay = BayPicture({"status": "keyed", "figures": {"heatsink_c": heat_c}}, [(1.0, heat_c)], 0.0)
    return Cursor().patch(Picture("rack-1", "", {"bay-1": bay}), 0.0)


def view(bay: str) -> BayView:
    """A bay with a reading."""
    reading = Reading(channel="heatsink", unit="Cel", value=41.0, quality="good")
    return BayView(
        bay=bay, status=BayStatus.KEYED, age_s=0.2, stale=False, key_lent=True, key_seen=True, readings=[reading]
    )


@pytest.fixture
def teller(monkeypatch: pytest.MonkeyPatch) -> Teller:
    """In the daemon's place."""
    made = Teller()
    monkeypatch.setattr(live, "follow", made.follow)
    monkeypatch.setattr(live, "AGAIN_S", 0.01)
    return made


def run(look: Callable[[], Any]) -> None:
    """Run one, within five seconds, and end what it leaves."""
    asyncio.run(asyncio.wait_for(look(), 5))


async def heard(messages: AsyncIterator[bytes]) -> Patch:
    """The next message of a tab."""
    said: Patch = json.loads(await anext(messages))
    return said


def test_many_tabs_cost_the_daemon_one_stream(teller: Teller) -> None:
    """Each is told the whole picture first."""

    async def look() -> None:
        watch = Watch("http://x", view)
        teller.said.put_nowait(patch())
        tabs = [watch.tell(Page()) for _ in range(50)]
        firsts = await asyncio.gather(*(heard(tab) for tab in tabs))
        assert all(said["bays"]["bay-1"]["figures"] == {"heatsink_c": 41.0} for said in firsts)

    run(look)
    assert teller.followed == 1


def test_a_tab_is_told_only_what_changed_and_a_beat_when_nothing_did(
    teller: Teller, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The beat says that the dashboard lives and how old the daemon's last word is."""
    monkeypatch.setattr(live, "BEAT_S", 0.2)

    async def look() -> None:
        tab = Watch("http://x", view).tell(Page())
        teller.said.put_nowait(patch())
        await heard(tab)
        teller.said.put_nowait({"bays": {"bay-1": {"age_s": 0.0, "status": "resting"}}})
        said = await heard(tab)
        assert said["bays"]["bay-1"].keys() == {"age_s", "status"}
        assert (await heard(tab)).keys() == {"age_s", "error"}

    run(look)


def test_a_daemon_that_is_gone_is_told_with_its_reason_and_comes_back(teller: Teller) -> None:
    """The last known rack stays, its age grows, and the first word heals it."""
    clock = [0.0]

    async def look() -> None:
        watch = Watch("http://x", view, clock=lambda: clock[0])
        tab = watch.tell(Page())
        teller.said.put_nowait(patch())
        assert (await heard(tab))["error"] == ""
        teller.silent, clock[0] = True, 7.0
        teller.said.put_nowait({})
        said = await heard(tab)
        while not said["error"]:
            said = await heard(tab)
        assert "does not answer" in said["error"]
        assert json.loads(await watch.whole())["rack"] == "rack-1"
        clock[0] = 12.0
        assert json.loads(await watch.whole())["age_s"] == 5.0
        teller.silent = False
        teller.said.put_nowait(patch(50.0))
        while said["error"]:
            said = await heard(tab)
        assert said["bays"]["bay-1"]["figures"] == {"heatsink_c": 50.0}
        assert said["age_s"] == 0.0

    run(look)


def test_details_go_only_to_the_page_that_shows_them_and_only_what_changed(teller: Teller) -> None:
    """Readings, rules and link of all bays would be most of the traffic; tabs that show a bay share one question."""
    asked: list[str] = []

    def ask(bay: str) -> BayView:
        asked.append(bay)
        return view(bay)

    async def look() -> None:
        watch = Watch("http://x", ask, clock=lambda: 0.0)
        pages = [Page() for _ in range(5)]
        for page in pages:
            page.hear('{"bay": "bay-1"}')
        teller.said.put_nowait(patch())
        tabs = [watch.tell(page) for page in pages]
        for said in await asyncio.gather(*(heard(tab) for tab in tabs)):
            assert said["details"]["readings"][0]["value"] == 41.0
        assert "details" not in await heard(tabs[0])
        assert "details" not in await heard(watch.tell(Page()))

    run(look)
    assert asked == ["bay-1"]


@pytest.mark.parametrize("said", ["", "[]", '{"bay": 1}', '{"bay": "' + "x" * 65 + '"}', "\x00"])
def test_what_a_tab_should_not_say_is_let_go_by(said: str) -> None:
    """It shows no bay then."""
    page = Page()
    page.hear(said)
    assert page.bay is None


def test_a_daemon_that_hangs_is_silent_to_the_page_within_its_time() -> None:
    """It takes connections and says nothing: the stream is given up, and asked for again."""

    async def hang(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read()
        writer.close()

    async def look() -> None:
        server = await asyncio.start_server(hang, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        tab = Watch(f"http://127.0.0.1:{port}", view).tell(Page())
        said = await heard(tab)
        while not said["error"]:
            said = await heard(tab)
        assert "does not answer" in said["error"]
        server.close()

    run(look)


def test_before_the_first_answer_nothing_is_shown_as_known(alone: httpx.Client) -> None:
    """No rack, and why."""
    said = alone.get("/live").json()
    assert "order" not in said
    assert "does not answer" in said["error"]


def test_the_live_route_speaks_of_the_real_daemon(page: httpx.Client) -> None:
    """Bays that were never heard are stale and have no figures."""
    said = page.get("/live").json()
    assert said["error"] == ""
    assert said["order"] == ["bay-1", "bay-2"]
    assert said["bays"]["bay-2"]["stale"] is True
    assert said["bays"]["bay-2"]["figures"]["heatsink_c"] is None
    assert "readings" not in said["bays"]["bay-2"]


def test_a_socket_of_our_own_page_is_told_and_another_sites_is_not(page: httpx.Client) -> None:
    """The details come once it has said which bay it shows."""
    address = f"ws://{page.base_url.netloc.decode()}/live"

    async def look() -> None:
        async with connect(address, origin=f"http://{page.base_url.netloc.decode()}") as socket:  # type: ignore[arg-type]
            assert json.loads(await socket.recv())["rack"] == "rack-1"
            await socket.send('{"bay": "bay-1"}')
            while "details" not in (said := json.loads(await socket.recv())):
                pass
            assert said["details"]["link"]["link"] == "left"
        with pytest.raises(Exception, match="403"):
            await connect(address, origin="http://elsewhere.example")  # type: ignore[arg-type]

    run(look)
