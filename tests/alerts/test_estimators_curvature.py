"""Upward curvature against the closed form of an electro-thermal loop with one pole.

With ``S = V·(dI/dT)·R`` the temperature is ``T_0 + P_0·R/(1 - S)·(1 - e^(-(1 - S)t/τ))`` (stability of a conducting
MOSFET, dP/dT < 1/R: P. Spirito et al., MIEL 2002; NASA/TM-2010-216684): it bends upward for S > 1 alone.
"""

from math import expm1
from random import Random

import pytest

from alerts.estimators.curvature import Curvature

V, R, C, I_0, T_0 = 28.0, 1.5, 200.0, 1.0, 25.0


def called_s(gain: float, *, fan_s: float = 1e9, step_s: float = 1e9) -> float | None:
    """When it is called: means of 5 s over ten minutes of one key-down; a fan may stop, or the current step."""
    curvature, noise = Curvature(), Random("bend").gauss
    per_k_a = gain / (V * R)
    for i in range(120):
        at_s = 5.0 * i
        less = (1.0 - gain) / (R * C)
        rise_k = -V * I_0 / C / less * expm1(-less * at_s)
        warmer_k = 10.0 * -expm1(-max(at_s - fan_s, 0.0) / 200.0)
        current_a = I_0 + per_k_a * rise_k + (0.3 if at_s > step_s else 0.0)
        if curvature.feed(at_s, T_0 + rise_k + warmer_k + noise(0.0, 0.03), current_a + noise(0.0, 0.001)):
            return at_s
    return None


@pytest.mark.parametrize("gain", [-0.21, 0.0, 0.504, 0.84])
def test_a_stable_loop_is_let_be(gain: float) -> None:
    """Under a gain of 1 the curve bends down, however far it goes."""
    assert called_s(gain) is None


@pytest.mark.parametrize("gain", [1.26, 1.5, 2.5])
def test_a_loop_that_runs_away_is_called_within_a_minute(gain: float) -> None:
    """Over a gain of 1 it is called while the current has grown by tens of percent, not by twice."""
    at_s = called_s(gain)
    assert at_s is not None
    assert at_s <= 60.0


def test_a_fan_that_stops_and_a_current_that_steps_are_no_runaway() -> None:
    """A temperature that bends upward without the current, and a current that jumps, are something else."""
    assert called_s(0.1, fan_s=200.0) is None
    assert called_s(0.1, step_s=200.0) is None
