"""The rack's state, asked once for everybody."""

import asyncio
import json
import threading

import httpx

from daemon.api.errors import DaemonSilent
from daemon.api.models import BayStatus, BayView, RackView, Reading
from dashboard.live import Watch


def rack(name: str = "rack-1") -> RackView:
    """A rack of one bay with a reading."""
    reading = Reading(channel="heatsink", unit="Cel", value=41.0, quality="good")
    bay = BayView(
        bay="bay-1", status=BayStatus.KEYED, age_s=0.2, stale=False, key_lent=True, key_seen=True, readings=[reading]
    )
    return RackView(rack=name, time_ns=0, bays=[bay])


class Hand:
    """Something to ask, whose answer a test chooses."""

    def __init__(self) -> None:
        self.asked = 0
        self.silent = False
        self.free = threading.Event()
        self.free.set()

    def __call__(self) -> RackView:
        """Answer, or not."""
        self.asked += 1
        self.free.wait(10)
        if self.silent:
            raise DaemonSilent("http://127.0.0.1:1", "refused")
        return rack()


def test_many_tabs_cost_the_daemon_one_question() -> None:
    """Within the time for which an answer is kept."""
    hand = Hand()

    async def look() -> None:
        watch = Watch(hand, keep_s=60.0)
        await asyncio.gather(*(watch.now() for _ in range(50)))
        await watch.now()

    asyncio.run(look())
    assert hand.asked == 1


def test_a_daemon_that_hangs_leaves_the_page_an_old_answer_with_its_age() -> None:
    """The page is answered in time, and is told how old the figures are."""
    hand, clock = Hand(), [100.0]

    async def look() -> tuple[str, str, str]:
        watch = Watch(hand, keep_s=0.25, wait_s=0.05, clock=lambda: clock[0])
        fresh = await watch.now()
        hand.free.clear()
        clock[0] += 5.0
        old = await watch.now()
        hand.free.set()
        for _ in range(100):
            if json.loads(await watch.now())["age_s"] < 5.0:
                break
        return fresh, old, await watch.now()

    fresh, old, healed = (json.loads(said) for said in asyncio.run(look()))
    assert fresh["age_s"] == 0.0
    assert old["age_s"] == 5.0
    assert old["rack"] == fresh["rack"]
    assert healed["age_s"] == 0.0


def test_a_daemon_that_is_gone_is_told_with_its_reason_and_comes_back() -> None:
    """The last known rack stays, its age grows, and the first answer heals it."""
    hand, clock = Hand(), [0.0]

    async def look() -> list[str]:
        watch = Watch(hand, clock=lambda: clock[0])
        said = [await watch.now()]
        hand.silent, clock[0] = True, 1.0
        said.append(await watch.now())
        hand.silent, clock[0] = False, 2.0
        return [*said, await watch.now()]

    fresh, gone, healed = (json.loads(said) for said in asyncio.run(look()))
    assert (fresh["error"], healed["error"]) == ("", "")
    assert "does not answer" in gone["error"]
    assert (gone["age_s"], healed["age_s"]) == (1.0, 0.0)
    assert gone["rack"]["rack"] == "rack-1"


def test_details_go_only_to_the_page_that_shows_them() -> None:
    """Readings, rules and link of eight bays twice a second would be most of the traffic."""

    async def look() -> tuple[str, str, str]:
        watch = Watch(rack)
        return await watch.now(), await watch.now("bay-1"), await watch.now("bay-9")

    plain, own, unknown = (json.loads(said) for said in asyncio.run(look()))
    assert "readings" not in plain["rack"]["bays"][0]
    assert plain["bay"] is None
    assert own["bay"]["readings"][0]["value"] == 41.0
    assert unknown["bay"] is None


def test_before_the_first_answer_nothing_is_shown_as_known(alone: httpx.Client) -> None:
    """No rack, and why."""
    said = alone.get("/live").json()
    assert said["rack"] is None
    assert "does not answer" in said["error"]


def test_the_live_route_speaks_of_the_real_daemon(page: httpx.Client) -> None:
    """Bays that were never heard are stale and have no figures."""
    said = page.get("/live", params={"bay": "bay-2"}).json()
    assert said["error"] == ""
    assert [bay["bay"] for bay in said["rack"]["bays"]] == ["bay-1", "bay-2"]
    assert said["bay"]["bay"] == "bay-2"
    assert said["bay"]["stale"] is True
    assert said["bay"]["figures"]["heatsink_c"] is None
