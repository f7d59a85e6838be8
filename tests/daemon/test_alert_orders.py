"""What people do with alerts: shelve for a time, take out of service, put back."""

import pytest

from daemon import alertorders
from daemon.errors import NoSuch, Refused
from tests.daemon.alert_rig import START_NS, World, soaking_world


@pytest.fixture
def world() -> World:
    """A soak runs on each bay."""
    return soaking_world()


def test_a_shelf_has_an_end_and_what_still_stands_then_is_told(world: World) -> None:
    """Hidden for ten minutes, with reason and end; not told of in between, whatever happens beneath."""
    world.say("supply")
    alertorders.shelve(world.book, 1, 10, "Ann", "known: old supply")
    kept = world.one("supply").kept
    assert (kept.state, kept.shelved_until_ns) == ("shelved", START_NS + round((world.now_s + 600) * 1e9))
    world.say("supply", "returned")
    world.say("supply")
    with pytest.raises(Refused, match="shelved"):
        alertorders.acknowledge(world.book, 1, "Ann", "")
    world.wait(599)
    assert world.state("supply") == "shelved"
    world.wait(1)
    assert world.state("supply") == "unacknowledged"
    assert world.kept.told() == [("supply", "raised"), ("supply", "unshelved")]


def test_a_shelved_alert_that_is_over_ends_with_its_shelf(world: World) -> None:
    """And stays in the list until then, for its key is hidden."""
    world.say("supply")
    alertorders.shelve(world.book, 1, 10, "Ann", "known")
    world.say("supply", "returned")
    assert world.state("supply") == "shelved"
    alertorders.unshelve(world.book, 1, "Ann", "")
    assert not world.book.open


def test_out_of_service_lasts_until_somebody_puts_it_back_and_frees_its_effects(world: World) -> None:
    """What was folded under it is told."""
    world.say("sensor-fault")
    world.say("over-temperature")
    alertorders.out_of_service(world.book, 1, "Ann", "new sensor is ordered")
    assert world.state("over-temperature") == "unacknowledged"
    world.wait(10**6)
    assert world.state("sensor-fault") == "out of service"
    alertorders.in_service(world.book, 1, "Ann", "fitted")
    assert world.state("sensor-fault") == "unacknowledged"
    assert [rule for rule, _ in world.kept.told()] == ["sensor-fault", "over-temperature", "sensor-fault"]


def test_an_order_for_an_alert_that_is_not_open_names_those_that_are(world: World) -> None:
    """404 at the API."""
    world.say("supply")
    with pytest.raises(NoSuch, match="known: 1"):
        alertorders.acknowledge(world.book, 5, "Ann", "")
    alertorders.acknowledge(world.book, 1, "Ann", "")
    with pytest.raises(Refused, match="acknowledged already"):
        alertorders.acknowledge(world.book, 1, "Ann", "")
