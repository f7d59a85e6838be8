"""Who is told of alerts, over the API and on the command line: their state, a test message, and never a secret."""

from __future__ import annotations

import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import httpx
import pytest

from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.api.server import ApiThread, build
from daemon.delivery.delivery import Delivery
from daemon.serve import make_rack
from daemon.store.reader import CATALOG
from sensors.backoff import Backoff

if TYPE_CHECKING:
    from daemon.config import RackFile
    from tests.daemon.delivery.conftest import Alerts, Hook

Until = Callable[..., None]


@pytest.fixture
def pair(hooks: Callable[[], Hook]) -> tuple[Hook, Hook]:
    """One server that takes what it is told, one that refuses."""
    good, bad = hooks(), hooks()
    bad.mode = "refuse"
    return good, bad


@pytest.fixture
def config(rack_of: Callable[[str], RackFile], pair: tuple[Hook, Hook]) -> RackFile:
    """Both of them told."""
    good, bad = pair
    return rack_of(
        f'[[tell]]\nname = "good"\nurl = "{good.url}"\npriorities = ["trip"]\n'
        f'[[tell]]\nname = "bad"\nurl = "{bad.url}"\nescalate_from = "good"\n'
    )


@pytest.fixture
def url(alerts: Alerts, config: RackFile) -> Iterator[str]:
    """The API of a rack that tells both."""
    data = config.rack.data.parent / "data"  # where ``alerts`` has its store
    config = config.model_copy(update={"rack": config.rack.model_copy(update={"data": data})})
    path = data / CATALOG
    with Delivery(config, path, backoff=lambda: Backoff(1000, 1000), poll_s=0.02) as telling:
        rack = make_rack(config, alerts.store)
        api = ApiThread(build(config, rack, alerts.store, telling), socket.create_server(("127.0.0.1", 0)))
        api.start()
        yield f"http://127.0.0.1:{api.port}"
        api.stop()


def test_each_target_is_told_of_with_its_state(url: str, alerts: Alerts, pair: tuple[Hook, Hook], until: Until) -> None:
    """A failing one is in health and in the rack's note too, with the reason; no secret is in any of them."""
    good, _ = pair
    with Client(url) as client:
        assert client.health().tell_error == ""
        assert {t.target: (t.state, t.kind) for t in client.tell().targets} == {
            "good": ("idle", "json"),
            "bad": ("idle", "json"),
        }
        good.mode = "refuse"
        alerts.say(1)
        until(lambda: client.tell().error, "it fails")
        said = client.health().tell_error
        assert said.startswith("good can't be told (1 waiting): ")
        assert "503" in said
        assert client.rack().note == said
        view = {t.target: t for t in client.tell().targets}
        assert (view["good"].state, view["good"].priorities, view["good"].waiting) == ("failing", ["trip"], 1)
        assert (view["bad"].escalate_from, view["bad"].escalate_after_min, view["bad"].state) == ("good", 10, "waiting")
    for path in ("tell", "health", "rack"):
        assert "t0ken" not in httpx.get(f"{url}/v1/{path}", trust_env=False).text


def test_a_test_message_is_sent_on_order_and_what_happened_is_said(url: str, pair: tuple[Hook, Hook]) -> None:
    """To all and to one; a name that is not known is 404; a stranger's page is refused."""
    good, bad = pair
    with Client(url) as client:
        assert {t.target: t.ok for t in client.tell_test()} == {"good": True, "bad": False}
        assert [t.target for t in client.tell_test("good")] == ["good"]
        with pytest.raises(ApiError, match="no target 'nobody'; known: good, bad") as caught:
            client.tell_test("nobody")
    assert caught.value.status == 404
    assert (good.titles, bad.titles) == (["rack-1: test"] * 2, [])
    headers = {"origin": "http://stranger.example"}
    refused = httpx.post(f"{url}/v1/tell/test", json={}, headers=headers, trust_env=False)
    assert refused.status_code == 403


def keysoak(*words: object) -> subprocess.CompletedProcess[str]:
    """Run the command to its end."""
    call = [sys.executable, "-m", "daemon.cli.main", "tell", *map(str, words)]
    return subprocess.run(call, capture_output=True, text=True, timeout=60, check=False)


def test_the_command_tests_without_a_daemon(config: RackFile, pair: tuple[Hook, Hook], tmp_path: Path) -> None:
    """Exit status 0 when all take it, 1 when one does not, 2 when there is none of that name."""
    rack = ("--rack", tmp_path / "rack.toml")
    assert len(config.tell) == 2
    both = keysoak("--test", *rack)
    assert both.returncode == 1
    assert "good: took the message" in both.stdout
    assert "503" in both.stdout
    assert "t0ken" not in both.stdout + both.stderr
    assert keysoak("--test", "good", *rack).returncode == 0
    assert pair[0].titles == ["rack-1: test"] * 2
    nobody = keysoak("--test", "nobody", *rack)
    assert (nobody.returncode, nobody.stderr) == (2, "keysoak: there is no target 'nobody'; known: good, bad\n")


def test_the_command_says_how_each_target_stands(
    url: str, alerts: Alerts, pair: tuple[Hook, Hook], until: Until
) -> None:
    """From the daemon that runs."""
    alerts.say(1)
    until(lambda: pair[0].titles, "it is told")
    with Client(url) as client:
        until(lambda: client.tell().targets[0].state == "idle", "it is marked")
    done = keysoak("--api", url)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["good (json): idle, 1 told", "bad (json): waiting, 0 told, 1 waiting"]
