"""A soak is started only where the load takes it: whoever orders it, and whatever he says of the load."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.api.load_models import LoadRating, Typical
from daemon.api.models import SoakOrder
from daemon.cli.main import app
from tests.daemon.api_rig import serving

RACK = """
[rack]
name = "rack-1"
[api]
port = 0
[[link]]
name = "left"
kind = "serial"
port = "{port}"
[[bay]]
name = "bay-1"
link = "left"
[bay.load]
continuous_w = 15
short_w = 60
short_min = 5
soak_kj = 100
[[bay]]
name = "bay-2"
link = "left"
"""
CARRIER = '[[phase]]\ndrive = "carrier"\nminutes = {}\n'


@pytest.fixture
def url(tmp_path: Path) -> Iterator[str]:
    """A daemon whose bay-1 has a load with a rating, and bay-2 one of which nobody has said anything."""
    with serving(tmp_path, RACK) as (_, _, address):
        yield address


def refused(url: str, bay: str, minutes: float, typical: Typical | None = None) -> str:
    """Why a start is refused: what is heard of no bay is asked last."""
    order = SoakOrder(plan=CARRIER.format(minutes), typical=typical or Typical())
    with Client(url) as client, pytest.raises(ApiError) as caught:
        client.soak(bay, order)
    assert caught.value.status == 409
    return caught.value.why


def test_the_rating_of_rack_toml_is_told(url: str) -> None:
    """In watts, minutes and joules."""
    with Client(url) as client:
        rated = LoadRating(load_w=15, load_short_w=60, load_short_min=5, load_j=100_000)
        assert client.loads() == {"bay-1": rated}


@pytest.mark.parametrize(
    ("bay", "minutes", "typical", "why"),
    [
        ("bay-1", 10, Typical(), "25 W on average over 5 minutes are more than the 15 W"),
        ("bay-1", 10, Typical(load_w=1000), "more than the 15 W"),
        ("bay-1", 1, Typical(forward_w=80), "80 W at once are more than the 60 W"),
        ("bay-2", 10, Typical(), "Load rating: not known"),
        ("bay-2", 10, Typical(load_w=20), "more than the 20 W"),
        ("bay-1", 3, Typical(), "nothing is heard from bay-1"),
        ("bay-2", 10, Typical(load_w=25), "nothing is heard from bay-2"),
    ],
)
def test_a_load_that_does_not_take_the_plan_keeps_it_from_starting(
    url: str, bay: str, minutes: float, typical: Typical, why: str
) -> None:
    """rack.toml goes before what the order says; where neither knows, nobody keys into that load."""
    assert why in refused(url, bay, minutes, typical)


def test_the_command_says_why_and_takes_a_rating(url: str, tmp_path: Path) -> None:
    """The same words; with a rating it goes on to ask for the bay."""
    plan = tmp_path / "plan.toml"
    plan.write_text(CARRIER.format(10))
    words = ["soak", "bay-2", "--plan", str(plan), "--api", url]
    for more, why in (([], "Load rating: not known"), (["--load-w", "25"], "nothing is heard from bay-2")):
        done = CliRunner().invoke(app, [*words, *more])
        assert done.exit_code != 0
        assert why in f"{done.output}{done.exception}"
