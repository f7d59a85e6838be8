"""The swing of a temperature with the key, on one pole in closed form: ``T(t) = T_end + (T_0 - T_end)·e^(-t/τ)``."""

from collections.abc import Callable
from math import exp
from random import Random

import pytest

from alerts.estimators.swing import Swing

C, R, AIR, WATT = 400.0, 1.5, 20.0, 40.0


def soak(
    swing: Swing, minutes: float, feels: Callable[[float], float], *, fan: Callable[[float], float] = lambda at_s: 1.0
) -> float | None:
    """Cycles of 60 s on and 60 s off, read by a sensor that feels a part of the rise; when the swing is lost, s."""
    sink_c, noise = AIR, Random("swing").gauss
    for at_s in range(int(60 * minutes)):
        keyed = at_s % 120 < 60
        watt = WATT if keyed else 0.0
        end_c, tau_s = AIR + watt * R / fan(at_s), R * C / fan(at_s)
        sink_c = end_c + (sink_c - end_c) * exp(-1.0 / tau_s)
        swing.feed(float(at_s), AIR + feels(at_s) * (sink_c - AIR) + noise(0.0, 0.05), watt, keyed)
        if swing.lost:
            return float(at_s)
    return None


def test_a_sound_sensor_swings_from_cold_to_settled_and_under_a_fan() -> None:
    """Neither warming up over four time constants nor air that cools three times as well takes the swing away."""
    swing = Swing()
    assert soak(swing, 80.0, lambda at_s: 1.0, fan=lambda at_s: 3.0 if at_s > 2400 else 1.0) is None
    assert swing.expected_k == pytest.approx(WATT / C * 30.0, rel=0.1)


def test_a_sensor_that_peels_off_is_told() -> None:
    """One that feels less and less over twenty minutes, to a fifth, is told before it has got there."""
    at_s = soak(Swing(), 80.0, lambda at_s: 1.0 - 0.8 * min(max(at_s - 1800.0, 0.0) / 1200.0, 1.0))
    assert at_s is not None
    assert 2600.0 < at_s < 3100.0


def test_less_power_and_another_cycle_are_no_loss() -> None:
    """The swing is told for each watt, and a cycle of another length begins anew."""
    swing = Swing()
    assert soak(swing, 30.0, lambda at_s: 1.0) is None
    sink_c = 50.0
    for at_s in range(1800, 3600):
        keyed = at_s % 60 < 30
        sink_c += ((20.0 if keyed else 0.0) - (sink_c - AIR) / R) / C
        swing.feed(float(at_s), sink_c, 20.0 if keyed else 0.0, keyed)
        assert not swing.lost
