"""A fall that steepens, against exponentials in closed form."""

from math import exp, log, sqrt
from random import Random

import pytest

from alerts.estimates import Block
from alerts.estimators.decline import Decline
from alerts.fall import POWER_DB, Fall
from alerts.keyed import State
from sensors.types import Drive


def sag_db(at_s: float) -> float:
    """Driver and finals warm up with two time constants: 0.3 dB in all."""
    return -0.2 * (1.0 - exp(-at_s / 240.0)) - 0.1 * (1.0 - exp(-at_s / 900.0))


def least_db(fade_db_per_min: float, *, noise_db: float, seed: int, from_s: float = 600.0) -> tuple[float, float]:
    """The most that half an hour of key-down is told to be under its course before ``from_s``, and when after 0.08."""
    decline = Decline(least_s=75.0, per_k=0.0, per_supply=0.0, sd=0.01)
    noise = Random(seed).gauss
    most, called_s = 0.0, float("inf")
    for i in range(180):
        at_s = 10.0 * i
        level = 14.0 + sag_db(at_s) - fade_db_per_min * max(at_s - from_s, 0.0) / 60.0 + noise(0.0, noise_db)
        under = decline.feed(at_s, level, 40.0, 0.0) or 0.0
        if at_s < from_s or not fade_db_per_min:
            most = min(most, under)
        elif under < -0.08:
            called_s = min(called_s, at_s - from_s)
    return most, called_s


@pytest.mark.parametrize("noise_db", [0.0, 0.01, 0.02])
def test_what_warming_does_is_never_under_its_course(noise_db: float) -> None:
    """Sums of exponentials only slow down: nothing is told over forty soaks of half an hour."""
    assert min(least_db(0.0, noise_db=noise_db, seed=i)[0] for i in range(40)) > -0.06


def test_a_fade_in_the_middle_of_warming_up_is_told_within_a_fifth_of_a_decibel() -> None:
    """0.1 dB a minute from the tenth minute on, noise of 0.01 dB: within two minutes, 0.2 dB, each of twenty times."""
    assert max(least_db(0.1, noise_db=0.01, seed=i)[1] for i in range(20)) <= 120.0


def test_new_heat_and_a_lower_supply_explain_what_they_may() -> None:
    """A fall of 0.3 dB within five minutes with 20 K of new heat, or with the supply's, is no fade; else it is."""
    for warmer_k, ln_v, told in [(20.0, 0.0, False), (0.0, -0.035, False), (0.0, 0.0, True)]:
        decline = Decline(least_s=75.0, per_k=0.015, per_supply=8.7, sd=0.01)
        unders = []
        for i in range(60):
            part = min(max(i - 30, 0) / 30.0, 1.0)
            unders.append(decline.feed(10.0 * i, 14.0 - 0.3 * part, 40.0 + warmer_k * part, ln_v * part) or 0.0)
        assert (min(unders) < -0.1) is told


def block(clock_s: float, keyed_s: float, level_db: float) -> Block:
    """Five seconds of carrier."""
    watt = 10.0 ** (level_db / 10.0)
    return Block(
        clock_s, 5.0, State.DRIVEN, Drive.CARRIER, keyed_s, 40.0, 13.8, watt, (2.0, 2.0), (), 20.0, sqrt(watt), 0.0
    )


@pytest.mark.parametrize(("on_s", "off_s"), [(60, 60), (300, 120)])
def test_cycles_of_the_key_are_followed_across_their_rests(on_s: int, off_s: int) -> None:
    """Each key-down sags and each rest gives it back: no fall; a fade of 0.1 dB a minute of soak is one."""
    for fade_db_per_min in (0.0, 0.1):
        fall, warm, least = Fall(POWER_DB), 0.0, 0.0
        for i in range(360):
            at_s, phase_s = 5.0 * i, 5.0 * i % (on_s + off_s)
            keyed = phase_s < on_s
            warm += (float(keyed) - warm) * (1.0 - exp(-5.0 / 300.0))
            if keyed:
                level = 14.0 - 0.3 * warm - fade_db_per_min * max(at_s - 900.0, 0.0) / 60.0
                told = fall.feed(block(at_s, phase_s + 5.0, level))
                least = min(least, told or 0.0)
                # from one short key-down to the next: what is told is denied by nothing in between
                assert at_s < 1500.0 or not fade_db_per_min or on_s > 150 or told is None or told < -0.1
        assert (least < -0.2) is bool(fade_db_per_min)
        assert fade_db_per_min or least > -0.02


def test_a_supply_that_is_lower_is_worth_its_square() -> None:
    """10·log10(V²) for each unit of ln V is 8.686 dB, the figure of a stage that saturates."""
    assert 10.0 * log(10.0) ** -1 * 2.0 == pytest.approx(8.686, abs=1e-3)
