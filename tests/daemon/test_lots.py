"""Units of one lot taken together: bands, who stands outside, and a drift from unit to unit."""

import random

from hypothesis import given
from hypothesis import strategies as st

from daemon.api.lot_models import Heat
from daemon.api.models import JobView, PlanView
from daemon.cli.lots import lines
from daemon.lots.bands import OUT_SD, Unit, judge, out_sd, spread
from daemon.lots.gather import lots


def lot(values: list[float], figure: str = "heatsink_k_per_w", odd: float | None = None) -> list[Unit]:
    """Good units with one figure; the last may be an odd one."""
    units = [Unit(i + 1, f"MR-25 no. {i + 1:03d}", True, {figure: v}) for i, v in enumerate(values)]
    if odd is not None:
        units.append(Unit(len(values) + 1, "MR-25 no. 999", True, {figure: odd}))
    return units


def drawn(count: int, seed: int) -> list[float]:
    """A sound lot: 1.5 K/W, 3 %."""
    draw = random.Random(seed)
    return [draw.gauss(1.5, 0.045) for _ in range(count)]


def test_a_unit_with_a_dry_pad_is_pointed_out_with_what_to_suspect() -> None:
    """30 % more thermal resistance than its lot, though it passed its own soak."""
    view = judge("MR-25", "A", "7", lot(drawn(12, 1), odd=1.95))
    (outside,) = view.outside
    assert outside.unit == "MR-25 no. 999"
    assert "thermal pad" in outside.text
    assert outside.sd_out > OUT_SD
    assert any("MR-25 no. 999" in line for line in lines(view))


def test_a_sound_lot_says_nothing_of_anybody() -> None:
    """Two hundred lots of twenty sound units: fewer than one in fifty has a unit pointed out."""
    said = sum(bool(judge("k", "A", "7", lot(drawn(20, seed))).outside) for seed in range(200))
    assert said < 4


def test_the_odd_unit_does_not_hide_in_a_band_that_it_widens() -> None:
    """A small lot of five and one odd: it is judged by the others."""
    assert judge("k", "A", "7", lot([1.50, 1.52, 1.48, 1.51, 1.49], odd=2.2)).outside


def test_too_few_units_are_not_judged_and_that_is_said() -> None:
    """Four good units make no band."""
    view = judge("k", "A", "7", lot(drawn(4, 1)))
    assert not view.bands
    assert "4 good units" in view.not_judged["heatsink_k_per_w"]


def test_a_failed_unit_makes_no_band_but_is_judged_by_it() -> None:
    """Bands are of the good ones."""
    units = lot(drawn(8, 2))
    units.append(Unit(9, "bad", False, {"heatsink_k_per_w": 3.0}))
    view = judge("k", "A", "7", units)
    assert (view.units, view.passed) == (9, 8)
    assert [o.job for o in view.outside] == [9]


def test_a_drift_from_unit_to_unit_is_seen_before_any_stands_outside() -> None:
    """Each unit 1 % over the last: the chart leaves its limits."""
    view = judge("k", "A", "7", lot([v * (1 + 0.01 * i) for i, v in enumerate(drawn(20, 3))]))
    assert view.trends
    assert "unit to unit" in view.trends[0].text
    assert not judge("k", "A", "7", lot(drawn(20, 3))).trends


@given(st.lists(st.floats(0.1, 10), min_size=5, max_size=30), st.floats(0.1, 10))
def test_a_change_of_unit_changes_no_judgement(values: list[float], times: float) -> None:
    """Who stands outside does not depend on the scale of the figure."""
    here = judge("k", "", "", lot(values))
    there = judge("k", "", "", lot([v * times for v in values]))
    clear = {o.job for o in here.outside if abs(o.sd_out) > out_sd(len(values) - 1) * 1.001}
    assert clear <= {o.job for o in there.outside}


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=50))
def test_the_spread_is_never_zero_nor_its_middle_outside(values: list[float]) -> None:
    """Also where all agree."""
    middle, sd = spread(values)
    assert min(values) <= middle <= max(values)
    assert sd > 0


def soaked(number: int, verdict: str = "pass", heat_s: float = 3600.0, **limits: float) -> JobView:
    """A finished job of one kind of unit."""
    plan = PlanView(name="evening soak", phases=[], total_s=60.0)
    return JobView(
        job=number,
        number=f"J-{number}",
        unit=f"MR-25 no. {number}",
        bay="bay-1",
        plan=plan,
        started_ns=number,
        ended_ns=number + 1,
        verdict=verdict,
        reasons=[],
        figures={"heat_equivalent_s": heat_s, "case_1_k_per_w": 0.5, "case_2_k_per_w": 0.5 + number / 100},
        limits={"service_c": 40.0, "activation_ev": 0.7} | limits,
        tags=[],
    )


def test_time_at_temperature_is_that_of_the_good_ones_by_one_activation_energy() -> None:
    """Soaks told by another energy can't be added; the energy is told with the hours."""
    jobs = [soaked(1), soaked(2, heat_s=7200.0), soaked(3, "fail"), soaked(4, activation_ev=1.0), soaked(5)]
    (view,) = lots(jobs, {})
    assert view.heat == Heat(
        units=3, service_c=40.0, activation_ev=0.7, least_s=3600.0, most_s=7200.0, total_s=3 * 3600.0 + 3600.0
    )
    assert any("1 h to 2 h a unit, 4 h in all, at 40 °C (Arrhenius, activation energy 0.7 eV" in s for s in lines(view))


def test_a_unit_has_the_resistance_of_its_worst_device_and_stands_as_a_mark_in_the_band() -> None:
    """One dry pad is not hidden by its neighbour."""
    (view,) = lots([soaked(number) for number in range(1, 8)], {})
    (band,) = [band for band in view.bands if band.figure == "case_k_per_w"]
    assert [mark.value for mark in band.units] == [0.5 + number / 100 for number in range(1, 8)]
    assert all(mark.passed for mark in band.units)
