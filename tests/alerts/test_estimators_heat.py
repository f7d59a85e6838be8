"""The heat balance and the loop gain, against closed forms."""

from math import exp, inf, nan
from random import Random

import pytest

from alerts.estimators.heat_balance import HeatBalance, HeatFit
from alerts.estimators.heating_curve import HeatingCurve
from alerts.estimators.loop_gain import CurrentGain, gain_of

C, R, AIR = 560.0, 1.6, 22.0


def soak(
    balance: HeatBalance,
    seconds: float,
    *,
    dt_s: float = 0.5,
    noise_c: float = 0.0,
    step_c: float = 0.0,
    lose: float = 0.0,
    jitter: float = 0.0,
    air_known: bool = True,
    on_s: float = 60.0,
) -> None:
    """A heatsink heated with 20 W in cycles, moved on by its own exponential: no error of integration."""
    rng = Random("soak")
    t, at = AIR, 0.0
    while at < seconds:
        step = dt_s * (1 + jitter * rng.uniform(-1, 1))
        watt = 20.0 if at % (2 * on_s) < on_s else 0.0
        end = AIR + R * watt
        t = end + (t - end) * exp(-step / (R * C))
        at += step
        if rng.random() < lose:
            continue
        read = t + rng.gauss(0.0, noise_c)
        if step_c:
            read = round(read / step_c) * step_c
        balance.feed(at, read, watt, AIR if air_known else nan)


@pytest.mark.parametrize(
    "nuisance",
    [
        {},
        {"noise_c": 0.1},
        {"step_c": 0.25, "noise_c": 0.05},
        {"lose": 0.1, "jitter": 0.5},
        {"dt_s": 2.0, "noise_c": 0.05},
        {"air_known": False, "noise_c": 0.05},
    ],
    ids=["clean", "noise", "quantised", "lost and irregular", "0.5 Hz", "no air temperature"],
)
def test_the_balance_finds_what_the_heatsink_is(nuisance: dict[str, float]) -> None:
    """C within 4 %, R within 6 % and the air within 2 K, whatever the readings suffer from; the band is no wider."""
    balance = HeatBalance()
    soak(balance, 3600.0, **nuisance)  # type: ignore[arg-type]
    fit = balance.fit()
    assert fit is not None
    assert fit.capacity_j_per_k == pytest.approx(C, rel=0.04)
    assert fit.k_per_w == pytest.approx(R, rel=0.06)
    assert fit.air_c == pytest.approx(AIR, abs=2.0)
    assert fit.k_per_w_sd < 0.2 * R


def test_a_clean_balance_is_exact() -> None:
    """Without noise the integral form has no bias: the trapezoid's own error is all that remains."""
    balance = HeatBalance()
    soak(balance, 3600.0, dt_s=0.1)
    fit = balance.fit()
    assert fit is not None
    assert fit.capacity_j_per_k == pytest.approx(C, rel=2e-3)
    assert fit.k_per_w == pytest.approx(R, rel=2e-3)


@pytest.mark.parametrize("on_s", [30.0, 60.0, 300.0])
def test_a_sensor_that_lags_hides_little(on_s: float) -> None:
    """Ten seconds of lag between heat and reading leave C within 10 % and R within 15 %, in short cycles too."""
    balance = HeatBalance()
    rng = Random("lag")
    t = read = AIR
    for i in range(7200):
        watt = 20.0 if (i * 0.5) % (2 * on_s) < on_s else 0.0
        end = AIR + R * watt
        t = end + (t - end) * exp(-0.5 / (R * C))
        read += (t - read) * (1 - exp(-0.5 / 10.0))
        balance.feed(i * 0.5, read + rng.gauss(0.0, 0.05), watt, nan)
    fit = balance.fit()
    assert fit is not None
    assert fit.capacity_j_per_k == pytest.approx(C, rel=0.10)
    assert fit.k_per_w == pytest.approx(R, rel=0.15)


def test_nothing_is_said_before_the_data_can_say_it() -> None:
    """A radio at rest tells neither C nor R."""
    balance = HeatBalance()
    for i in range(2000):
        balance.feed(i * 0.5, AIR + 0.01 * (i % 3), 0.0, AIR)
    assert balance.fit() is None


def test_nan_and_gaps_change_nothing() -> None:
    """What can't be computed is left out, and a gap is not integrated over."""
    balance = HeatBalance()
    soak(balance, 1800.0)
    before = balance.fit()
    for reading in ((nan, 20.0), (50.0, nan)):
        balance.feed(1801.0, *reading, AIR)
    balance.feed(99_999.0, 22.0, 0.0, AIR)
    assert balance.fit() == before


def test_the_forecast_is_the_heating_curve() -> None:
    """Settled temperature, the way there and the time to a limit are those of T = T∞ - (T∞ - T0)·exp(-t/τ)."""
    fit = HeatFit(C, R, R * C, AIR, 0, 0, 0)
    assert fit.settled_c(20.0) == 54.0
    seconds = fit.seconds_to(50.0, 30.0, 20.0)
    assert fit.after_c(30.0, 20.0, seconds) == pytest.approx(50.0)
    assert fit.seconds_to(55.0, 30.0, 20.0) == inf


def test_three_points_of_a_single_pole() -> None:
    """The kept curve gives the final value 50 of the worked example 29.531731, 37.585367, 42.470145 (Δt/τ = 0.5).

    Source: closed form, final = (T1² - T0·T2) / (2·T1 - T0 - T2).
    """
    t0, t1, t2 = 29.531731, 37.585367, 42.470145
    assert (t1 * t1 - t0 * t2) / (2 * t1 - t0 - t2) == pytest.approx(50.0, abs=1e-4)
    curve = HeatingCurve()
    start = 50.0 - (50.0 - t0) * exp(0.5)
    for i in range(400):
        curve.feed(i * 0.01, (50.0 - start) * (1 - exp(-i * 0.01)))
    fit = curve.fit()
    assert fit is not None
    assert start + fit.rise == pytest.approx(50.0, abs=1e-6)
    assert fit.rate == pytest.approx(1.0, rel=1e-6)


#: V 28 V, R 1.5 K/W, C 20 J/K, I 1 A at 25 °C, air 25 °C: ∂I/∂T -> G, temperature after 120 s.
#: Own numbers, closed form checked by Runge-Kutta integration.
CLOSED_FORM = [
    (-0.005, -0.21, 59.4363),
    (0.0, 0.0, 66.2307),
    (0.012, 0.504, 98.0327),
    (0.02, 0.84, 149.0857),
    (0.0238, 0.9996, 192.8657),
    (0.03, 1.26, 320.4889),
]


def heating(gain: float, seconds: float) -> float:
    """The rise P0·R/(1 - G)·(1 - exp(-(1 - G)·t/τ))."""
    return 28.0 * 1.5 / (1 - gain) * (1 - exp(-(1 - gain) * seconds / 30.0))


@pytest.mark.parametrize(("per_k", "gain", "after_c"), CLOSED_FORM)
def test_the_loop_gain_meets_the_closed_form(per_k: float, gain: float, after_c: float) -> None:
    """G from current against temperature, stable or not."""
    assert 25.0 + heating(gain, 120.0) == pytest.approx(after_c, abs=2e-4)
    current = CurrentGain()
    for i in range(601):
        at = i * 0.2
        rise = heating(gain, at)
        if i % 50 == 0:
            current.feed(at, 25.0 + rise, 1.0 + per_k * rise)
    slopes = current.slopes(1e-6)
    assert len(slopes) == 4
    for slope in slopes:
        assert gain_of(slope, 28.0, 1.5, 0.0).value == pytest.approx(gain, abs=1e-5)
        assert slope.by_temperature <= 1.0


def test_a_current_that_creeps_by_itself_is_no_loop_gain() -> None:
    """A current that rises with time and warms the heatsink behind it is explained by time, not by temperature."""
    current = CurrentGain()
    t = 50.0
    for i in range(12):
        creep = 0.05 * i
        current.feed(60.0 * i, t, 3.5 + creep)
        t += 60.0 * (13.8 * creep - (t - 50.0) / R) / C
    assert all(slope.by_temperature > 1.0 for slope in current.slopes(0.003))


def test_confidence_comes_with_data() -> None:
    """A heatsink that does not move tells no gain: the band is as wide as the ignorance."""
    current = CurrentGain()
    rng = Random(1)
    for i in range(10):
        current.feed(60.0 * i, 50.0 + 0.05 * rng.gauss(), 3.5 + 0.003 * rng.gauss())
    assert all(gain_of(slope, 13.8, R, 0.1).least < 0.7 for slope in current.slopes(0.005))
