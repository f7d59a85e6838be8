"""One cause, one alert: effects folded under their cause, and what a lost link makes unknowable."""

import pytest

from daemon import alertorders
from tests.daemon.alert_rig import LINKS, World, soaking_world


@pytest.fixture
def world() -> World:
    """A soak runs on each bay."""
    return soaking_world()


def test_a_shorted_device_is_one_alert_with_its_effects_folded_under_it(world: World) -> None:
    """Over-current first; imbalance, supply and fade within a second are told of to nobody, and kept."""
    world.say("over-current", priority="trip")
    for effect in ("current-imbalance", "supply", "power-fade"):
        world.wait(0.3)
        world.say(effect)
        assert world.state(effect) == "suppressed"
        assert world.one(effect).kept.cause == 1
    assert world.kept.told() == [("over-current", "raised")]
    assert world.book.unseen == 1
    world.book.end("bay-1")
    alertorders.reset(world.book, 1, "Ann", "device replaced")
    assert not world.book.open


def test_an_earlier_warning_is_folded_under_the_trip_that_explains_it(world: World) -> None:
    """The list then has one alert: the one that presses."""
    world.say("supply")
    world.wait(1)
    world.say("over-current", priority="trip")
    assert world.state("supply") == "suppressed"
    assert world.kept.told() == [("supply", "raised"), ("over-current", "raised")]


def test_an_effect_that_gets_worse_than_its_cause_stands_for_itself(world: World) -> None:
    """A trip is never hidden under a warning."""
    world.say("supply")
    world.wait(1)
    world.say("power-fade")
    assert world.state("power-fade") == "suppressed"
    world.say("power-fade", priority="trip")
    assert world.state("power-fade") == "unacknowledged"
    assert world.kept.told()[-1] == ("power-fade", "worsened")


def test_an_effect_that_outlives_its_cause_is_told_then(world: World) -> None:
    """The cause is acknowledged and over, and what was folded under it still stands."""
    world.say("supply")
    world.say("power-fade")
    alertorders.acknowledge(world.book, 1, "Ann", "")
    assert world.kept.told() == [("supply", "raised")]
    world.say("supply", "returned")
    assert world.state("power-fade") == "acknowledged", "it was seen with its cause"
    world.say("supply", subject="again")
    world.say("bias-drift")
    world.say("supply", "returned", subject="again")
    alertorders.acknowledge(world.book, world.one("supply").kept.id, "Ann", "")
    assert world.state("bias-drift") == "acknowledged"


def test_an_effect_that_came_after_the_acknowledgement_is_told_when_its_cause_is_over(world: World) -> None:
    """Nobody has seen that one."""
    world.say("supply")
    alertorders.acknowledge(world.book, 1, "Ann", "")
    world.say("power-fade")
    world.say("supply", "returned")
    assert world.state("power-fade") == "unacknowledged"
    assert world.kept.told() == [("supply", "raised"), ("power-fade", "released")]


def test_a_lost_link_suppresses_what_it_makes_unknowable_until_packs_come_again(world: World) -> None:
    """Neither acknowledged with it nor told again after it; a trip that was there stays shown."""
    world.say("supply")
    world.say("over-temperature", priority="trip")
    world.say("link-lost", subject="link")
    assert (world.state("supply"), world.state("over-temperature")) == ("suppressed", "unacknowledged")
    alertorders.acknowledge(world.book, world.one("link-lost").kept.id, "Ann", "")
    world.say("link-lost", "returned", subject="link")
    assert world.state("supply") == "unacknowledged"
    assert [rule for rule, _ in world.kept.told()] == ["supply", "over-temperature", "link-lost"]


def test_all_bays_of_a_lost_link_are_one_alert(world: World) -> None:
    """The cable of two bays is pulled; a bay on another link that is missed too stands for itself."""
    for bay in ("bay-1", "bay-2", "bay-3"):
        world.say("link-lost", subject="link", bay=bay)
    assert [world.state("link-lost", bay) for bay in LINKS] == ["unacknowledged", "suppressed", "unacknowledged"]
    world.say("link-lost", "returned", subject="link", bay="bay-1")
    assert world.state("link-lost", "bay-2") == "unacknowledged", "still lost: no longer for that cause"


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
