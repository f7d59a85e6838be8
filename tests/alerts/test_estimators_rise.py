"""What a heatsink's rise and fall say of its sensor, and what a case's stand says of its pad: closed forms."""

from math import exp

import pytest

from alerts.estimators.collapse import Collapse
from alerts.estimators.cooldown import Cooldown
from alerts.pads import Pad


def test_what_a_rise_has_been_bounds_the_resistance_from_below() -> None:
    """While it warms up at 20 W towards 1.5 K/W, rise over the most heat is never over 1.5, and 94 % after 3 τ."""
    collapse = Collapse()
    for i in range(240):
        rise_k = 30.0 * (1.0 - exp(-i / 80.0))
        assert not collapse.feed(10.0, rise_k, rise_k, 20.0, air_known=True)
        assert collapse.k_per_w <= 1.5
    assert collapse.k_per_w == pytest.approx(1.5 * (1.0 - exp(-3.0)), rel=0.01)


@pytest.mark.parametrize(("left", "told"), [(0.5, False), (0.3, False), (0.1, True)])
def test_a_rise_that_is_lost_early_is_told_by_what_it_was(left: float, told: bool) -> None:
    """Three minutes into the first key-down, long before R is known: a sensor that keeps a tenth of the rise."""
    collapse = Collapse()
    lost = False
    for i in range(180):
        rise_k = 30.0 * (1.0 - exp(-i / 80.0)) * (1.0 if i < 40 else left)
        lost = collapse.feed(10.0, rise_k, rise_k, 20.0, air_known=True) or lost
    assert lost is told


def rest(minutes: float, tau_s: float, *, stays: bool) -> Cooldown:
    """A rest from 45 °C in air of 20 °C after a learned τ of 600 s."""
    cooldown = Cooldown()
    for i in range(int(6 * minutes)):
        value_c = 45.0 if stays else 20.0 + 25.0 * exp(-10.0 * i / tau_s)
        cooldown.feed(10.0, value_c, 0.0, keyed_w=20.0, warmest_air_c=22.0, tau_s=600.0)
        assert stays or not cooldown.lost
    return cooldown


def test_a_heatsink_cools_down_even_without_its_fan() -> None:
    """As learned, and four times as slowly: it falls. A reading that stays is told before it could have fallen 3 K."""
    rest(60.0, 600.0, stays=False)
    rest(60.0, 2400.0, stays=False)
    assert rest(8.0, 600.0, stays=True).lost
    assert not rest(3.0, 600.0, stays=True).lost


def test_heat_that_still_flows_ends_the_rest() -> None:
    """At idle a heatsink may well stay where it is."""
    cooldown = Cooldown()
    for _ in range(360):
        cooldown.feed(10.0, 45.0, 4.0, keyed_w=20.0, warmest_air_c=22.0, tau_s=600.0)
    assert not cooldown.lost


def pad(k_per_w: float, *, on_s: float, off_s: float) -> Pad:
    """Cycles at 10 W; a case of 40 s whose resistance is 0.5 K/W, and from the fortieth minute on this."""
    case, over_k = Pad(), 0.0
    for i in range(2400):
        at_s = 2.0 * i
        watt = 10.0 if at_s % (on_s + off_s) < on_s else 0.0
        r = 0.5 if at_s < 2400.0 else k_per_w
        over_k += (r * watt - over_k) * (1.0 - exp(-2.0 / (40.0 * r / 0.5)))
        case.feed(2.0, over_k, watt)
    return case


@pytest.mark.parametrize(("on_s", "off_s"), [(60.0, 60.0), (300.0, 120.0), (1e9, 1.0)])
def test_a_case_stands_where_its_heat_puts_it(on_s: float, off_s: float) -> None:
    """Over any cycle of the key the stand is R·P within a fifth of it; and three times that once R has trebled."""
    sound = pad(0.5, on_s=on_s, off_s=off_s)
    assert sound.over_k == pytest.approx(sound.should_k, rel=0.2)
    dry = pad(1.5, on_s=on_s, off_s=off_s)
    assert dry.over_k == pytest.approx(3.0 * dry.should_k, rel=0.2)


def held(*, falls_k: float, known_r: float = 0.25) -> bool:
    """Ten minutes of rest after 20 W on 1000 J/K, of air that may be as warm as the heatsink; whether it is told.

    ``known_r`` is the least thermal resistance that it may have, K/W; what it falls by, with 400 s, is the test's.
    """
    cooldown, lost = Cooldown(), False
    for i in range(60):
        value_c = 45.0 - falls_k * (1.0 - exp(-10.0 * i / 400.0)) + 0.02 * (i % 2)
        cooldown.feed(
            10.0,
            value_c,
            0.0,
            keyed_w=20.0,
            warmest_air_c=60.0,
            tau_s=600.0,
            held_k=20.0 * known_r,
            held_s=1000.0 * known_r,
        )
        lost = lost or cooldown.lost
    return lost


def test_whatever_the_air_is_a_heatsink_falls_when_its_heat_is_gone() -> None:
    """20 W hold it 5 K over its air at the least; less than a sixth of what is due by then is no heatsink's fall."""
    assert held(falls_k=0.0)
    assert held(falls_k=0.2)
    assert not held(falls_k=5.0)
    assert not held(falls_k=1.5)
    assert not held(falls_k=0.0, known_r=0.03)
