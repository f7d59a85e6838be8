"""reflected-power and supply: what is about the bench, not the radio."""

from collections.abc import Callable
from typing import Any

import pytest

from alerts.types import Event, Priority
from sensors.types import Drive, Quality

RAISED, RETURNED = Event.RAISED, Event.RETURNED
WARNING, TO_TRIP = Priority.WARNING, Priority.TRIP
Make = Callable[..., Any]


# |gamma| = (S - 1) / (S + 1) and P_r / P_f = |gamma|**2: SWR 2.0 is 1/9 of the power, SWR 1.6 is (3/13)**2 = 5.33 %;
# closed form, checked in ../standards against scikit-rf
@pytest.mark.parametrize(
    ("reflected_w", "said"),
    [(25 * 0.0530, []), (25 * 0.0536, [WARNING]), (25 * 0.1110, [WARNING]), (25 * 0.1113, [WARNING, TO_TRIP])],
)
def test_swr_limits_are_met_to_the_watt(story: Make, brief: Make, reflected_w: float, said: list[Priority]) -> None:
    """A reflected power just within a limit says nothing, just over it is called."""
    s = story()
    s.key(True)
    found = s.run(20, forward=25.0, reflected=reflected_w)
    assert [p for _, e, p in brief(found) if e is RAISED] == said


def test_a_bad_load_is_named_as_the_load(story: Make) -> None:
    """The sentence sends a person to the load and its cable."""
    s = story()
    s.key(True)
    said = s.run(20, reflected=8.0)
    assert "look at the dummy load and its cable" in said[0].text
    assert said[0].unit == "1"


def test_match_is_not_judged_at_key_edges(story: Make) -> None:
    """At every key edge the detectors disagree for a sample; a hundred key-downs say nothing."""
    s = story()
    for _ in range(100):
        s.key(True)
        s.run(1, forward=12.0, reflected=6.0)
        s.run(4)
        s.key(False)
        s.run(0.5, forward=6.0, reflected=6.0, key=1.0, drain_1=0.9, drain_2=0.8)
        s.run(3.5)
    assert s.said == []


def test_match_is_not_judged_under_the_forward_floor(story: Make) -> None:
    """At 0.4 W forward the reflected reading is its detector's zero."""
    s = story()
    s.key(True, Drive.IDLE)
    assert s.run(60, forward=0.4, reflected=0.3) == []
    assert s.judge.standings()["reflected-power"].state == "not yet"


def test_reflected_power_under_its_table_is_a_good_match(story: Make) -> None:
    """BELOW is as good as no reflected power: judged, SWR 1."""
    s = story()
    s.key(True)
    assert s.run(20, reflected=Quality.BELOW) == []
    assert s.judge.standings()["reflected-power"].state == "judging"


def test_all_power_back_is_no_division_by_zero(story: Make, brief: Make) -> None:
    """As much reflected as forward, or more, is the worst match there is."""
    s = story()
    s.key(True)
    found = s.run(20, forward=10.0, reflected=12.0)
    assert ("reflected-power", RAISED, TO_TRIP) in brief(found)
    assert found[0].value == 99.0


def test_without_reflected_power_the_match_is_not_applicable(story: Make) -> None:
    """A bay without the channel says so."""
    s = story()
    s.key(True)
    assert s.run(20, without=("reflected",)) == []
    assert s.judge.standings()["reflected-power"].state == "not applicable"


def test_a_supply_that_gives_way_under_load_is_called(story: Make, brief: Make) -> None:
    """12.0 V keyed warns, 11.5 V trips."""
    s = story()
    s.key(True)
    assert brief(s.run(10, supply=12.0)) == [("supply", RAISED, WARNING)]
    assert ("supply", RAISED, TO_TRIP) in brief(s.run(10, supply=11.5))


def test_a_supply_that_sags_within_its_band_is_a_warning(story: Make, brief: Make) -> None:
    """14.0 V that have become 12.9 V under the same load are within the band, and a lead or a fuse holder going."""
    s = story()
    s.key(True)
    assert s.run(120, supply=lambda at_s: 14.0 - 0.005 * at_s) == []
    said = s.run(60, supply=12.9)
    assert brief(said, "supply") == [("supply", RAISED, WARNING)]
    assert "12.90 V, 1.0" in said[0].text
    assert brief(s.run(60, supply=13.6), "supply") == [("supply", RETURNED, WARNING)]


def test_a_supply_that_is_off_at_rest_says_nothing(story: Make) -> None:
    """A supply that is switched off or asleep while the radio rests harms nothing."""
    s = story()
    assert s.run(60, supply=5.0) == []
    assert s.judge.standings()["supply"].state == "not yet"


def test_a_supply_that_is_low_at_rest_is_a_warning_and_no_more(story: Make, brief: Make) -> None:
    """11 V with nothing drawn warns at once of what a key-down would do; it returns under load alone."""
    s = story()
    assert brief(s.run(60, supply=11.0)) == [("supply", RAISED, WARNING)]
    assert s.run(60) == []
    s.key(True)
    assert brief(s.run(20)) == [("supply", RETURNED, WARNING)]


def test_high_supply_is_called_at_rest_too(story: Make, brief: Make) -> None:
    """Too much voltage needs no load to harm."""
    assert ("supply", RAISED, TO_TRIP) in brief(story().run(10, supply=16.2))


def test_a_dip_at_each_key_edge_says_nothing(story: Make) -> None:
    """The supply's step response at the key edge is no fault."""
    s = story()
    for _ in range(50):
        s.key(True)
        s.run(1, supply=11.0)
        s.run(9)
        s.key(False)
        s.run(10)
    assert s.said == []


def test_a_warning_stays_through_the_rests_and_returns_under_load(story: Make, brief: Make) -> None:
    """A rest is no evidence of anything: no return, and no second alert at the next key-down."""
    s = story()
    for _ in range(5):
        s.key(True)
        s.run(20, supply=12.2)
        s.key(False)
        s.run(20, supply=12.9)
    assert brief(s.said) == [("supply", RAISED, WARNING)]
    s.key(True)
    assert brief(s.run(20)) == [("supply", RETURNED, WARNING)]
