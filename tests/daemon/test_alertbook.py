"""The book of alerts: told once, never chattering, ended by the soak's end, and where it was after a kill."""

import pytest

from alerts.folding import REALARM_S
from daemon import alertorders
from daemon.alertbook import CONFIRM_S
from daemon.errors import Refused
from tests.daemon.alert_rig import World, soaking_world


@pytest.fixture
def world() -> World:
    """A soak runs on each bay."""
    return soaking_world()


def test_an_alert_is_told_once_and_lives_until_it_is_seen_and_over(world: World) -> None:
    """Raised, returned, acknowledged: three changes, one telling, and then it is gone from the list."""
    world.say("supply")
    world.say("supply")
    assert world.state("supply") == "unacknowledged"
    assert world.one("supply").kept.text == "supply raised"
    world.say("supply", "returned")
    assert world.state("supply") == "returned"
    assert world.kept.changes[-1].text == "supply returned"
    assert world.one("supply").kept.text == "supply raised", "the list keeps the sentence that says what was wrong"
    alertorders.acknowledge(world.book, 1, "Ann", "fuse was loose")
    assert not world.book.open
    assert [c.change for c in world.kept.changes] == ["raised", "returned", "acknowledged"]
    assert world.kept.told() == [("supply", "raised")]
    last = world.kept.changes[-1]
    assert (last.person, last.note, last.alert.state) == ("Ann", "fuse was loose", "normal")
    world.say("supply")
    assert list(world.book.open) == [2], "an id is never used again"


def test_a_trip_stays_until_a_person_resets_it_with_a_note(world: World) -> None:
    """Also when the soak that it ended is over, and only once its cause has gone."""
    world.say("over-current", priority="trip")
    world.say("over-current", "trip", "trip")
    with pytest.raises(Refused, match="still stands"):
        alertorders.reset(world.book, 1, "Ann", "too soon")
    world.book.end("bay-1")
    assert world.state("over-current") == "latched"
    assert "soak has ended" in world.kept.changes[-1].note
    alertorders.acknowledge(world.book, 1, "Ann", "")
    assert world.state("over-current") == "latched acknowledged"
    alertorders.reset(world.book, 1, "Ann", "device replaced")
    assert not world.book.open
    assert world.kept.told() == [("over-current", "raised")]


def test_a_warning_that_becomes_a_trip_is_told_again_and_is_one_alert(world: World) -> None:
    """Worse is news; the milder step's return alone ends nothing."""
    world.say("over-temperature")
    alertorders.acknowledge(world.book, 1, "Ann", "")
    world.wait(5)
    world.say("over-temperature", priority="trip")
    assert world.kept.told() == [("over-temperature", "raised"), ("over-temperature", "worsened")]
    assert world.state("over-temperature") == "unacknowledged"
    world.say("over-temperature", "returned", "trip")
    assert world.state("over-temperature") == "unacknowledged"
    world.say("over-temperature", "returned")
    assert world.state("over-temperature") == "latched"


def test_chatter_is_told_once_a_minute_at_the_most(world: World) -> None:
    """An alert that comes and goes every seven seconds, acknowledged each time, for ten minutes."""
    began_s = world.now_s
    while world.now_s < began_s + 600:
        world.say("supply")
        alertorders.acknowledge(world.book, world.one("supply").kept.id, "Ann", "")
        world.wait(2)
        world.say("supply", "returned")
        world.wait(5)
    assert len(world.kept.told()) <= 600 / REALARM_S


def test_what_came_back_too_soon_to_be_told_is_told_if_it_stays(world: World) -> None:
    """A minute after the last word of it."""
    world.say("supply")
    alertorders.acknowledge(world.book, 1, "Ann", "")
    world.wait(5)
    world.say("supply", "returned")
    world.wait(5)
    world.say("supply")
    assert world.state("supply") == "unacknowledged"
    assert len(world.kept.told()) == 1
    world.wait(REALARM_S)
    assert len(world.kept.told()) == 2
    world.wait(REALARM_S)
    assert len(world.kept.told()) == 2


def test_a_new_soak_makes_the_same_alert_news_again(world: World) -> None:
    """The same trip, seconds later, of another soak: told."""
    world.say("over-current", priority="trip")
    world.book.end("bay-1")
    world.book.begin("bay-1")
    world.wait(5)
    world.say("over-current", priority="trip", job=8)
    assert world.kept.told() == [("over-current", "raised")] * 2
    assert (list(world.book.open), world.one("over-current").kept.job) == ([1], 8)


def test_the_soak_s_end_returns_what_only_a_soak_judges(world: World) -> None:
    """Over-temperature is judged on; a supply warning is not, and does not stand for ever."""
    world.say("supply")
    world.say("over-temperature")
    world.book.end("bay-1")
    assert (world.state("supply"), world.state("over-temperature")) == ("returned", "unacknowledged")
    world.say("reflected-power")
    assert world.state("reflected-power") == "returned", "said of the frame that ended the soak"
    world.say("over-temperature", "returned")
    assert world.state("over-temperature") == "returned"


def test_a_stuck_key_between_soaks_is_an_alert_without_a_job() -> None:
    """The finding that goes to no job."""
    world = World()
    world.say("keying", priority="trip", subject="stuck key", job=0)
    assert (world.state("keying"), world.one("keying").kept.job) == ("unacknowledged", None)


def test_after_a_kill_everything_is_where_it_was_and_nothing_is_told_again(world: World) -> None:
    """Stuck key, shelf, fold and latch; what only the cut-off soak judged has returned."""
    world.say("keying", priority="trip", subject="stuck key")
    world.say("reflected-power")
    world.say("current-imbalance")
    world.say("sensor-fault")
    alertorders.shelve(world.book, world.one("sensor-fault").kept.id, 10, "Ann", "known")
    told = world.kept.told()
    world.kill()
    assert world.state("keying") == "unacknowledged"
    assert world.state("reflected-power") == "returned"
    assert world.state("current-imbalance") == "suppressed"
    assert world.state("sensor-fault") == "shelved"
    world.say("keying", priority="trip", subject="stuck key", job=0)
    world.wait(CONFIRM_S + 1)
    assert world.state("keying") == "unacknowledged", "it was raised anew"
    assert world.kept.told() == told
    world.wait(600)
    assert all(alert.kept.rule != "sensor-fault" for alert in world.book.open.values())


def test_what_is_not_seen_again_after_a_start_returns_and_says_why(world: World) -> None:
    """A stuck key that came up while no daemon looked stays latched; a warning that nobody had seen stays listed."""
    world.say("keying", priority="trip", subject="stuck key")
    world.say("over-temperature")
    world.kill()
    world.wait(CONFIRM_S + 1)
    assert (world.state("keying"), world.state("over-temperature")) == ("latched", "returned")
    assert "since the daemon was started" in world.kept.changes[-1].note
