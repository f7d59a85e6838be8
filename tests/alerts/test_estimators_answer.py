"""A temperature that no longer answers, and cooling that has become worse."""

from math import exp, nan
from random import Random

import pytest

from alerts.estimators.answer import Falls, Noise, Response
from alerts.estimators.collapse import Collapse
from alerts.estimators.cooling import Cooling

C, R, AIR = 500.0, 1.5, 22.0
TAU = C * R


def cycles(minutes: float, *, answers: float = 1.0, fan: float = 1.0, from_s: float = 600.0) -> tuple[Response, Falls]:
    """On/off cycles of a minute; from ``from_s`` on only this part of an answer, and this many times the cooling."""
    response, falls, noise = Response(), Falls(), Random("cycles").gauss
    t, before = 45.0, 45.0
    for i in range(int(minutes * 6)):
        at = i * 10.0
        watt = 20.0 if at % 120 < 60 else 0.0
        cooling = fan if at >= from_s else 1.0
        end = AIR + watt * R / cooling
        t = end + (t - end) * exp(-10.0 * cooling / TAU)
        part = answers if at >= from_s else 1.0
        read = AIR + 23.0 * part + (t - 45.0) * part if part < 1.0 else t
        read += noise(0.0, 0.03)
        bare = watt * 10.0 / C
        response.feed(10.0, bare, bare - (before - AIR) * 10.0 / TAU, read - before)
        falls.feed(10.0, read, watt, least_air_c=AIR - 2.0, tau_s=TAU, k_per_w=R)
        before = read
    return response, falls


def test_a_temperature_that_answers_is_let_be() -> None:
    """Hours of cycles, and a fan that comes on and trebles the cooling: no score, nothing fallen."""
    assert cycles(240.0)[0].score < 6.0
    response, falls = cycles(60.0, fan=3.0)
    assert response.score < 6.0
    assert falls.fallen_k < 2.5


@pytest.mark.parametrize("answers", [0.0, 0.15])
def test_a_temperature_that_does_not_answer_is_told_in_minutes(answers: float) -> None:
    """From a tenth of an answer on ten minutes of cycles are enough for certainty."""
    assert cycles(22.0, answers=answers)[0].score > 12.0


def test_a_fall_that_no_fan_explains() -> None:
    """A reading that goes from 45 to 25 °C in half a minute has left its heatsink; a spike has not."""
    falls = Falls()
    step = {"least_air_c": AIR, "tau_s": TAU, "k_per_w": R}
    for _ in range(20):
        assert not falls.feed(10.0, 45.0, 20.0, **step)
    assert not falls.feed(10.0, 25.0, 20.0, **step)
    assert not falls.feed(10.0, 45.0, 20.0, **step)
    for _ in range(2):
        falls.feed(10.0, 26.0, 20.0, **step)
    assert falls.feed(10.0, 25.0, 20.0, **step)


def test_a_noise_that_has_gone() -> None:
    """A hundred readings alike of a sensor with wide noise are no chance; of a coarse one they are nothing."""
    noise = Random("noise").gauss
    fine, coarse = Noise(), Noise()
    for i in range(600):
        value = 40.0 + noise(0.0, 0.05)
        fine.feed(i * 0.5, round(value, 2))
        assert not coarse.feed(i * 0.5, round(value * 2) / 2)
    told = [fine.feed(300.0 + i * 0.5, 40.0) for i in range(120)]
    assert not any(told[:95])
    assert told[-1]
    assert not any(coarse.feed(300.0 + i * 0.5, 40.0) for i in range(2000))


def heat(cooling: Cooling, seconds: float, r: float, t: float, at_s: float) -> tuple[float, float]:
    """Key-down throughout at 20 W."""
    for _ in range(int(seconds)):
        at_s += 1.0
        end = AIR + 20.0 * r
        t = end + (t - end) * exp(-1.0 / (r * C))
        cooling.feed(at_s, t, 20.0, AIR, keyed=True, capacity=C)
    return t, at_s


def test_a_fan_that_stops_is_worse_cooling_within_minutes() -> None:
    """The conductance of the last window is the true one, and worse than it was at no higher temperature."""
    cooling = Cooling()
    t, at_s = heat(cooling, 3000.0, R, 30.0, 0.0)
    assert cooling.now is not None
    assert cooling.now.w_per_k == pytest.approx(1 / R, rel=0.05)
    assert not cooling.worse
    heat(cooling, 240.0, 2.2 * R, t, at_s)
    assert cooling.now.w_per_k == pytest.approx(1 / (2.2 * R), rel=0.25)
    assert cooling.worse


def test_a_thermostat_is_not_worse_cooling() -> None:
    """A fan that goes on at 50 °C and off at 45 °C, again and again, never makes cooling worse than it was."""
    cooling = Cooling()
    t, fan = 30.0, False
    for i in range(4 * 3600):
        fan = t > 50.0 or (fan and t > 45.0)
        end = AIR + 20.0 * (0.9 if fan else 2.0)
        t = end + (t - end) * exp(-1.0 / ((0.9 if fan else 2.0) * C))
        cooling.feed(float(i), t, 20.0, AIR, keyed=True, capacity=C)
        assert not cooling.worse


def test_without_a_capacity_nothing_is_compared() -> None:
    """While the heat capacity is not known no conductance is told."""
    cooling = Cooling()
    for i in range(600):
        cooling.feed(float(i), 50.0, 20.0, AIR, keyed=True, capacity=nan)
    assert cooling.now is None


def collapse_s(feels: float, *, fan: float = 1.0, minutes: float = 80.0) -> float | None:
    """Two masses at a steady 30 W, and a sensor that feels a part of the rise from 40 min on; when it is told, s."""
    collapse, near_k, far_k = Collapse(), 0.0, 0.0
    for i in range(int(6 * minutes)):
        late = i >= 240
        for _ in range(10):
            flow_w = (near_k - far_k) / 0.15
            near_k += (30.0 - flow_w) / 80.0
            far_k += (flow_w - far_k * (fan if late else 1.0) / 0.8) / 1500.0
        rise_k = (feels if late else 1.0) * near_k
        if collapse.feed(10.0, rise_k, rise_k, 30.0, air_known=True):
            return 10.0 * i
    return None


def test_a_rise_that_collapses_is_told_and_a_fan_is_not() -> None:
    """A sensor that feels a tenth is told within two minutes; air that cools three times as well is let be."""
    assert collapse_s(1.0) is None
    assert collapse_s(1.0, fan=3.0) is None
    at_s = collapse_s(0.1)
    assert at_s is not None
    assert 2400.0 < at_s <= 2520.0


def test_a_rise_without_any_heat_measured_tells_nothing_and_ends_nothing() -> None:
    """A heatsink that is warm from before, or a radio whose dissipation reads nought: no resistance, and no error."""
    collapse = Collapse()
    assert not any(collapse.feed(1.0, 30.0, 31.0, 0.0, air_known=True) for _ in range(600))
    assert collapse.k_per_w == 0.0


def unanswered(unsure_k: float) -> float:
    """A reading that stays while heat comes and goes by half a kelvin a block, known to within this; the score."""
    response, noise = Response(), Random("unanswered").gauss
    for i in range(120):
        bare = 0.5 if i % 12 < 6 else 0.0
        response.feed(10.0, bare, bare, noise(0.0, 0.03), unsure_k=unsure_k)
    return response.score


def test_heat_that_is_hardly_known_is_not_missed() -> None:
    """Speech that is read now and then says little of the heat between; what is known of it is missed for certain."""
    assert unanswered(0.0) > 12.0
    assert unanswered(0.5) < 6.0


@pytest.mark.parametrize(("slope", "lost"), [(0.0055, False), (-0.02, True)])
def test_cooling_beyond_belief_is_a_lost_sensor_unless_it_still_warms(slope: float, lost: bool) -> None:
    """More than four times the cooling: a reading that goes down has left its heatsink, one that goes on up has not."""
    cooling = Cooling()
    t, hot = 30.0, AIR + 20.0 * 8.0 * R
    for i in range(1000):
        t = hot + (t - hot) * exp(-1.0 / (8.0 * TAU))
        cooling.feed(float(i), t, 20.0, AIR, keyed=True, capacity=C)
    assert not cooling.leapt
    leapt = False
    for i in range(1000, 1400):
        t += slope
        cooling.feed(float(i), t, 20.0, AIR, keyed=True, capacity=C)
        leapt = leapt or cooling.leapt
    assert leapt is lost
