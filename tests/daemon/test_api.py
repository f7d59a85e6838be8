"""The control API over a real socket, with the safety loop running: reading, orders, and what a wrong call gets."""

import asyncio
import hashlib
import socket
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from daemon.api.client import Client
from daemon.api.errors import ApiError, DaemonSilent
from daemon.api.history import build_history
from daemon.api.models import BayStatus, SoakOrder
from daemon.api.plans import FOLDER as PLANS
from daemon.config import RackFile, WorkshopTable
from daemon.export import Form, export
from daemon.plan import Plan
from daemon.store import Reader
from daemon.store.catalog import CatalogWriter
from daemon.store.frames import FrameWriter, Span, row
from daemon.store.items import JobEnded, JobSealed, JobStarted
from daemon.store.reader import CATALOG, FRAMES
from daemon.store.seals import digest
from sensors.types import Frame
from tests.daemon.api_rig import serving

RACK = """
[rack]
name = "rack-1"
note = "a note"
[api]
port = 0
[[link]]
name = "left"
kind = "serial"
port = "{port}"
[[bay]]
name = "bay-1"
link = "left"
[[bay]]
name = "bay-2"
link = "left"
"""

PLAN = '[[phase]]\ndrive = "idle"\nminutes = 1\n'


@pytest.fixture
def url(tmp_path: Path) -> Iterator[str]:
    """A daemon's loop and API in this process, whose serial port is not there."""
    with serving(tmp_path, RACK) as (_, _, address):
        yield address


def test_the_rack_is_told_in_its_order_and_silence_is_stale(url: str) -> None:
    """Two bays that were never heard: empty, stale, no figure that looks like a number."""
    with Client(url) as client:
        rack = client.rack()
    assert [bay.bay for bay in rack.bays] == ["bay-1", "bay-2"]
    assert rack.note == "a note"
    for bay in rack.bays:
        assert (bay.status, bay.stale, bay.age_s, bay.figures.heatsink_c) == (BayStatus.EMPTY, True, None, None)
        assert bay.link is not None
        assert not bay.link.connected


def test_a_bay_that_is_not_heard_is_not_keyed(url: str) -> None:
    """The order is refused with a sentence, status 409."""
    with Client(url) as client, pytest.raises(ApiError, match="nothing is heard from bay-1") as caught:
        client.soak("bay-1", SoakOrder(plan=PLAN))
    assert caught.value.status == 409


def test_a_plan_that_is_wrong_is_refused_with_its_field(url: str) -> None:
    """422, and the field by name."""
    with Client(url) as client, pytest.raises(ApiError, match=r"phase\[1\]\.minutes") as caught:
        client.soak("bay-1", SoakOrder(plan='[[phase]]\ndrive="idle"\nminutes=0'))
    assert caught.value.status == 422


def test_every_plan_that_comes_along_is_listed_with_its_text_the_shortest_first(url: str) -> None:
    """Each can be sent as an order as it is, and draws as its view says."""
    with Client(url) as client:
        plans = client.plans()
    assert sorted(file.text for file in plans) == sorted(path.read_text() for path in PLANS.glob("*.toml"))
    assert [file.name for file in plans] == ["short look", "ten minutes", "evening soak", "two hours"]
    for file in plans:
        assert file.plan == Plan.from_toml(file.text).view()


def test_what_does_not_exist_is_404_and_says_what_does(url: str) -> None:
    """An unknown bay, an unknown job."""
    with Client(url) as client:
        with pytest.raises(ApiError, match="no bay 'bay-9'; known: bay-1, bay-2") as caught:
            client.unkey("bay-9")
        assert caught.value.status == 404
        with pytest.raises(ApiError, match="no job 7") as caught:
            client.curves(7)
        assert caught.value.status == 404


def test_unkey_always_answers(url: str) -> None:
    """All bays and one, though nothing is heard of any."""
    with Client(url) as client:
        assert client.unkey().bays == ["bay-1", "bay-2"]
        assert client.unkey("bay-2").bays == ["bay-2"]


def test_another_name_for_this_machine_is_refused(url: str) -> None:
    """A page of a stranger's site that points its name at this machine gets nothing."""
    answer = httpx.get(f"{url}/v1/rack", headers={"host": "stranger.example"}, trust_env=False)
    assert answer.status_code == 400


def test_a_stranger_s_page_can_t_give_orders(url: str) -> None:
    """A browser's request from another origin is refused, unkeying alone excepted: that does no harm."""
    headers = {"origin": "http://stranger.example"}
    body = SoakOrder(plan=PLAN).model_dump_json()
    refused = httpx.post(f"{url}/v1/bays/bay-1/soak", content=body, headers=headers, trust_env=False)
    assert refused.status_code == 403
    assert httpx.post(f"{url}/v1/unkey", headers=headers, trust_env=False).status_code == 200


@pytest.mark.parametrize("query", ["points=1", "points=x", "from_s=nan", "from_s=5&to_s=1"])
def test_curves_asked_for_wrongly_are_refused_with_the_field(url: str, query: str) -> None:
    """422, and the field in the answer."""
    answer = httpx.get(f"{url}/v1/jobs/1/curves?{query}", trust_env=False)
    assert answer.status_code == 422
    assert query.split("=", maxsplit=1)[0] in answer.text


@pytest.mark.parametrize("form", Form)
def test_a_job_is_given_away_as_a_file_in_every_form(tmp_path: Path, url: str, form: Form) -> None:
    """The same bytes as `keysoak export` writes, under a name, also while the job runs."""
    folder = RackFile.from_file(tmp_path / "rack.toml").rack.data
    began = JobStarted(1, "J-1", "MR-25 no. 014", "bay-1", "p", PLAN, {}, 1_764_054_000 * 10**9, 0.0)
    frames = [Frame("bay-1", began.started_ns + t * 10**9, t, t, (20.0 + t,) * 21, bytes(21)) for t in range(3000)]
    with closing(CatalogWriter(folder / CATALOG)) as catalog, closing(FrameWriter(folder / FRAMES)) as writer:
        catalog.write([began])
        span = Span(1, "bay-1", began.started_ns, began.started_ns, frames[-1].time_ns)
        writer.write([row(frame, 1) for frame in frames], [span])
    out = tmp_path / f"job.{form}"
    assert export(folder, 1, out) == 3000
    with Client(url) as client:
        assert b"".join(client.export(1, form)) == out.read_bytes()
        answer = httpx.get(f"{url}/v1/jobs/1/export?form={form}", trust_env=False)
        assert answer.headers["content-disposition"] == f'attachment; filename="job-1.{form}"'
        with pytest.raises(ApiError, match="no job 9"):
            list(client.export(9, form))


def test_a_sealed_job_is_given_away_as_it_was_sealed_and_as_long_as_it_is(tmp_path: Path, url: str) -> None:
    """So that a page can show how far it is, and the copy can be verified."""
    folder = RackFile.from_file(tmp_path / "rack.toml").rack.data
    with closing(CatalogWriter(folder / CATALOG)) as catalog:
        began = JobStarted(1, "J-1", "MR-25 no. 014", "bay-1", "p", PLAN, {}, 1_764_054_000 * 10**9, 0.0)
        catalog.write([began, JobEnded(1, began.started_ns + 1, "incomplete", [], {})])
        sealed = Reader(folder).seals.path(1)
        sealed.parent.mkdir(exist_ok=True)
        sealed.write_bytes(b"".join(piece for piece, _ in Reader(folder).parquet(1)))
        catalog.write([JobSealed(1, *digest(sealed), 0, began.started_ns)])
    answer = httpx.get(f"{url}/v1/jobs/1/export?form=parquet", trust_env=False)
    assert answer.content == sealed.read_bytes()
    assert answer.headers["content-length"] == str(len(answer.content))
    with Client(url) as client:
        assert client.job(1).sealed_sha256 == hashlib.sha256(answer.content).hexdigest()


def test_health_tells_that_the_loop_keeps_up(url: str) -> None:
    """No frames, nothing behind, no error."""
    with Client(url) as client:
        health = client.health()
    assert (health.frames, health.store_behind, health.store_error, health.rack) == (0, 0, "", "rack-1")


def test_a_silent_daemon_is_named_by_its_address() -> None:
    """Nobody listens there."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    with Client(f"http://127.0.0.1:{port}", timeout_s=1) as client, pytest.raises(DaemonSilent, match=str(port)):
        client.rack()


def test_what_can_t_be_read_is_told_by_its_file_and_why(tmp_path: Path) -> None:
    """503 with a sentence from a folder that holds nothing, as from a disk that is ill; no bare server error."""

    async def ask() -> httpx.Response:
        history = httpx.ASGITransport(build_history(tmp_path, "127.0.0.1", WorkshopTable(name="shop")))
        async with httpx.AsyncClient(transport=history, base_url="http://127.0.0.1") as client:
            return await client.get("/v1/jobs")

    answer = asyncio.run(ask())
    assert answer.status_code == 503
    assert "catalog.sqlite is missing" in answer.json()["detail"]
