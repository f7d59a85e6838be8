"""The radio's physics, against closed forms and power definitions from outside."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.twin.batch import Build, draw
from sensors.twin.device import CLASS_B_LIMIT, conduct, swing_for
from sensors.twin.faults import Condition
from sensors.twin.model import Radio
from sensors.twin.spec import UnitSpec
from sensors.types import Drive


def nominal(**changes: object) -> Build:
    return draw(UnitSpec.model_validate({"bay": "bay-1", "spread": 0.0, **changes}))


def keyed(build: Build, drive: Drive = Drive.CARRIER) -> Radio:
    radio = Radio(build)
    radio.key, radio.drive = True, drive
    return radio


def run(radio: Radio, seconds: float, dt_s: float = 0.5) -> list[float]:
    """Heatsink temperatures after each step."""
    curve = []
    for _ in range(round(seconds / dt_s)):
        radio.step(dt_s)
        curve.append(radio.sink_c)
    return curve


@given(st.floats(0.1, 10.0), st.floats(-2.0, 2.0), st.floats(0.0, 3.0))
def test_current_agrees_with_the_sampled_square_law(k: float, u_v: float, swing_v: float) -> None:
    """Mean and fundamental of the drain current equal the integrals over a sampled cycle of the square law."""
    angle = (np.arange(4096) + 0.5) * (2 * np.pi / 4096)
    current = k * np.maximum(u_v + swing_v * np.cos(angle), 0.0) ** 2
    mean_a, first_a = conduct(k, u_v, swing_v)
    assert mean_a == pytest.approx(current.mean(), rel=1e-4, abs=1e-6)
    assert first_a == pytest.approx(2.0 * (current * np.cos(angle)).mean(), rel=1e-4, abs=1e-6)


def test_drive_for_a_current_gives_that_current() -> None:
    """The drive found for a mean current is the inverse of the law."""
    assert conduct(5.0, 0.3, swing_for(5.0, 0.3, 3.3))[0] == pytest.approx(3.3)


def test_a_sound_unit_is_a_25_w_class_radio() -> None:
    """Power, efficiency, idle current, settled heatsink and its time constant are those of the design."""
    radio = keyed(nominal(), Drive.IDLE)
    run(radio, 60.0)
    assert sum(radio.drain_a) == pytest.approx(0.5, rel=0.2)
    radio = keyed(nominal())
    curve = run(radio, 7200.0)
    assert radio.forward_w == pytest.approx(25.0, rel=0.04)
    assert 0.50 <= radio.forward_w / (radio.supply_v * sum(radio.drain_a)) <= 0.60
    assert 50.0 <= radio.sink_c <= 60.0
    at_tau_c = 22.0 + (radio.sink_c - 22.0) * (1 - np.exp(-1))
    assert np.searchsorted(curve, at_tau_c) * 0.5 == pytest.approx(900.0, rel=0.1)


def test_heating_is_the_single_pole_curve() -> None:
    """At constant dissipation the heatsink follows T = T∞ − (T∞ − T0)·exp(−t/τ).

    Source: the single-pole heating curve in the form of NIST StRD Misra1a; final value and τ from three equally
    spaced samples by its closed form. A shorted device of fixed conductance is the constant dissipation.
    """
    build = nominal()
    radio = Radio(build)
    radio.condition.short_s[0] = 0.1
    run(radio, 60.0)  # junction and case are up by then
    t0, t1, t2 = run(radio, 0.5)[-1], run(radio, 600.0)[-1], run(radio, 600.0)[-1]
    final_c = (t1 * t1 - t0 * t2) / (2 * t1 - t0 - t2)
    tau_s = 600.0 / math.log((t1 - t0) / (t2 - t1))
    heat_w = radio.supply_v * radio.drain_a[0]
    assert final_c - build.ambient_c == pytest.approx(heat_w * build.sink_k_per_w, rel=0.001)
    masses_j_per_k = build.sink_j_per_k + sum(d.case_j_per_k + d.junction_j_per_k for d in build.devices)
    assert tau_s == pytest.approx(build.sink_k_per_w * masses_j_per_k, rel=0.01)


def test_steady_temperatures_are_power_times_resistance() -> None:
    """Each stage settles at T_x + P·R_x: the definition of thermal resistance (JESD51-1; from memory)."""
    radio = keyed(nominal(thermal_scale=0.1))
    run(radio, 3600.0)
    device = radio.build.devices[0]
    heat_w = radio.dissipation_w[0]
    assert radio.junction_c[0] - radio.case_c[0] == pytest.approx(heat_w * device.junction_k_per_w, rel=1e-3)
    assert radio.case_c[0] - radio.sink_c == pytest.approx(heat_w * device.case_k_per_w, rel=1e-3)
    rise_k = radio.sink_c - radio.build.ambient_c
    assert rise_k == pytest.approx(sum(radio.dissipation_w) * radio.build.sink_k_per_w, rel=1e-3)


@given(
    seed=st.integers(0, 10_000),
    devices=st.integers(1, 4),
    drive=st.sampled_from([Drive.IDLE, Drive.CARRIER, Drive.TWO_TONE, Drive.MODULATED]),
    dt_s=st.sampled_from([0.05, 0.1, 0.5, 1.0, 7.3]),
    scale=st.sampled_from([0.05, 0.15, 1.0]),
)
def test_no_joule_is_lost(seed: int, devices: int, drive: Drive, dt_s: float, scale: float) -> None:
    """Energy balance: what the devices dissipate is stored in the masses or has left into the air."""
    build = draw(UnitSpec(bay="b", seed=seed, devices=devices, thermal_scale=scale))
    radio = keyed(build, drive)
    run(radio, 60.0, dt_s)
    radio.key = False
    run(radio, 30.0, dt_s)
    stored_j = build.sink_j_per_k * (radio.sink_c - build.ambient_c)
    for device, junction_c, case_c in zip(build.devices, radio.junction_c, radio.case_c, strict=True):
        stored_j += device.junction_j_per_k * (junction_c - build.ambient_c)
        stored_j += device.case_j_per_k * (case_c - build.ambient_c)
    assert radio.heat_j == pytest.approx(stored_j + radio.out_j, rel=1e-9, abs=1e-6)


@given(seed=st.integers(0, 10_000), drive=st.sampled_from([Drive.CARRIER, Drive.TWO_TONE, Drive.MODULATED]))
def test_power_in_is_power_out_and_heat(seed: int, drive: Drive) -> None:
    """V·ΣI = heat + (P_f − P_r) at every instant, and no drive beats class B's efficiency of π/4."""
    radio = keyed(draw(UnitSpec(bay="b", seed=seed)), drive)
    for _ in range(20):
        radio.step(0.5)
        heat_w = sum(radio.dissipation_w)
        # The step moved the heat on, not the currents: powers and currents are of one instant.
        in_w = radio.supply_v * sum(radio.drain_a)
        assert in_w == pytest.approx(heat_w + radio.forward_w - radio.reflected_w)
        assert radio.forward_w <= CLASS_B_LIMIT * in_w * (1 + 1e-9)


def test_two_tone_mean_is_half_of_pep() -> None:
    """Two equal tones: PEP = 2 × mean, and a carrier's PEP is its mean (ITU Radio Regulations 1.157, 1.158)."""
    for drive, ratio in ((Drive.TWO_TONE, 2.0), (Drive.CARRIER, 1.0)):
        radio = keyed(nominal(), drive)
        run(radio, 30.0)
        assert radio.peak_w / radio.forward_w == pytest.approx(ratio)
        assert radio.peak_w == pytest.approx(25.0, rel=0.02)


def test_two_tone_efficiency_is_class_b_s() -> None:
    """Biased at the threshold, two tones take the carrier's efficiency times π/4.

    Source: textbook class B, whose current goes with the envelope: mean of |cos| is 2/π, mean power half.
    """
    build = nominal()
    devices = tuple(replace(d, bias_v=d.threshold_v, threshold_per_k=0.0) for d in build.devices)
    efficiency = {}
    for drive in (Drive.CARRIER, Drive.TWO_TONE):
        radio = keyed(replace(build, devices=devices, compensation_per_k=0.0), drive)
        run(radio, 30.0)
        efficiency[drive] = radio.forward_w / (radio.supply_v * sum(radio.drain_a))
    assert efficiency[Drive.TWO_TONE] / efficiency[Drive.CARRIER] == pytest.approx(math.pi / 4, rel=0.02)


def test_reflected_power_is_the_load_s_coefficient_squared() -> None:
    """P_r = |Γ|²·P_f: an SWR of 2 is |Γ| = 1/3 and reflects a ninth (any SWR table)."""
    radio = keyed(nominal())
    radio.condition.gamma = 1 / 3 - radio.build.gamma
    run(radio, 5.0)
    assert radio.reflected_w / radio.forward_w == pytest.approx(1 / 9)


def slope_a_per_k(radio: Radio) -> float:
    """∂ΣI/∂T when the whole radio is one kelvin warmer, at rest otherwise."""
    totals = []
    for shift in (-0.5, 0.5):
        probe = keyed(radio.build, Drive.IDLE)
        probe.condition = radio.condition
        probe.sink_c = radio.sink_c + shift
        probe.junction_c = [c + shift for c in radio.junction_c]
        probe.case_c = [c + shift for c in radio.case_c]
        probe._electric()
        totals.append(sum(probe.drain_a))
    return totals[1] - totals[0]


@pytest.mark.parametrize(("bias_per_k", "stable"), [(0.0, True), (0.004, True), (0.020, False)])
def test_loop_gain_over_one_runs_away(bias_per_k: float, stable: bool) -> None:
    """Below G = V·(∂I/∂T)·R_θ = 1 the radio settles; above it T(t) curves upward and no steady state exists.

    Source: the stability criterion S = Vds·(dId/dTj)·Rth < 1 (P. Spirito et al., MIEL 2002, product form from
    memory; the general form dP/dTj < 1/θ is a textbook's).
    """
    radio = keyed(nominal(thermal_scale=0.1), Drive.IDLE)
    radio.condition = Condition()
    radio.condition.bias_per_k = bias_per_k
    run(radio, 30.0)
    device = radio.build.devices[0]
    # Each device's own path counts for its own current, the heatsink's for the sum.
    ohm_k_per_w = radio.build.sink_k_per_w + (device.junction_k_per_w + device.case_k_per_w) / 2
    gain = radio.supply_v * slope_a_per_k(radio) * ohm_k_per_w
    assert (gain < 1.0) is stable
    curve = np.array(run(radio, 60.0))
    late = np.diff(curve[20:])[::10]
    assert bool(np.all(np.diff(late) < 1e-9)) is stable
    run(radio, 1800.0)
    assert (not any(radio.burnt)) is stable


def test_gain_slows_and_lifts_the_heating_curve() -> None:
    """With 0 < G < 1 the rise is P0·R/(1 − G), as the closed form of the thermal loop has it."""
    build = nominal(thermal_scale=0.05)
    flat = replace(build, devices=tuple(replace(d, junction_k_per_w=0.01, case_k_per_w=0.01) for d in build.devices))
    cold = keyed(flat, Drive.IDLE)
    cold.condition.bias_per_k = 0.004
    cold.step(0.0)
    start_w = sum(cold.dissipation_w)
    gain = cold.supply_v * slope_a_per_k(cold) * flat.sink_k_per_w
    assert 0.1 < gain < 0.5
    run(cold, 1800.0)
    rise_k = cold.sink_c - flat.ambient_c
    # The square law bends upward, so the loop ends a little above what the cold slope foretells.
    assert rise_k == pytest.approx(start_w * flat.sink_k_per_w / (1.0 - gain), rel=0.12)
    assert rise_k > start_w * flat.sink_k_per_w * 1.1


@given(st.integers(0, 100_000))
def test_no_sound_unit_of_a_batch_would_trip(seed: int) -> None:
    """Any seed's unit passes the default limits: 75 C, imbalance 15 %, SWR 2, 12.5 to 15 V, 8 A, 5 A a device."""
    radio = keyed(draw(UnitSpec(bay="b", seed=seed, thermal_scale=0.05)), Drive.IDLE)
    for drive in (Drive.IDLE, Drive.CARRIER, Drive.IDLE):
        radio.drive = drive
        run(radio, 150.0)
        mean_a = sum(radio.drain_a) / len(radio.drain_a)
        assert (max(radio.drain_a) - min(radio.drain_a)) / mean_a < 0.14
        assert sum(radio.drain_a) < 8.0
        assert max(radio.drain_a) < 5.0
        assert 12.5 < radio.supply_v < 15.0
        assert radio.sink_c < 65.0
        assert radio.reflected_w <= 0.01 * radio.forward_w + 1e-9


def test_units_of_a_batch_differ_and_a_seed_is_one_unit() -> None:
    """Two seeds give two units; one seed gives the same unit again."""
    first, again, other = (draw(UnitSpec(bay="b", seed=s)) for s in (1, 1, 2))
    assert first == again
    assert first != other


def test_thermal_scale_makes_time_shorter_and_nothing_else() -> None:
    """Scaled masses reach the same temperatures, the scale's share of the time later."""
    slow, fast = keyed(nominal()), keyed(nominal(thermal_scale=0.1))
    run(slow, 900.0, 0.25)
    run(fast, 90.0, 0.025)
    assert fast.sink_c == pytest.approx(slow.sink_c, abs=0.15)


def test_half_the_step_gives_the_same_curve() -> None:
    """The integration has converged: a step ten times shorter moves the heatsink by less than its noise."""
    coarse, fine = keyed(nominal(thermal_scale=0.15)), keyed(nominal(thermal_scale=0.15))
    run(coarse, 300.0, 0.5)
    run(fine, 300.0, 0.05)
    assert coarse.sink_c == pytest.approx(fine.sink_c, abs=0.05)
    assert coarse.drain_a == pytest.approx(fine.drain_a, rel=2e-3)


def test_a_short_that_burns_open_conducts_no_more() -> None:
    """What is left is an open device: neither its current nor its load on the supply stays (Ohm's law)."""
    radio = keyed(nominal(), Drive.CARRIER)
    radio.condition = Condition()
    run(radio, 5.0)
    before_v = radio.supply_v
    radio.condition.short_s[0] = 1.0
    for _ in range(1000):
        radio.step(0.05)
        if radio.burnt[0]:
            break
    assert radio.burnt[0]
    run(radio, 1.0)
    assert radio.drain_a[0] == pytest.approx(0.0, abs=1e-9)
    assert radio.supply_v > before_v
