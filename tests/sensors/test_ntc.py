"""Thermistors: both ways by each formula, both divider sides, self-heating, and points that fit no NTC."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sensors import ntc
from sensors.errors import ConversionUnfit

patient = settings(deadline=None)
celsius_range = st.floats(-40.0, 150.0)
betas = st.floats(2500.0, 5000.0)
nominals = st.floats(100.0, 1e6)
sides = st.sampled_from(["ground", "supply"])
CURVE = ntc.SteinhartHart(1.129148e-3, 2.34125e-4, 8.76741e-8)  # a plausible 10 kohm NTC


@patient
@given(celsius_range, nominals, betas)
def test_beta_goes_there_and_back(celsius: float, r0_ohm: float, beta_k: float) -> None:
    """A temperature's resistance is read as that temperature."""
    assert ntc.beta(r0_ohm, beta_k)(ntc.beta_ohm(celsius, r0_ohm, beta_k)) == pytest.approx(celsius, abs=1e-8)


@patient
@given(celsius_range)
def test_steinhart_hart_goes_there_and_back(celsius: float) -> None:
    """A temperature's resistance is read as that temperature."""
    assert ntc.steinhart_hart(CURVE)(ntc.steinhart_hart_ohm(celsius, CURVE)) == pytest.approx(celsius, abs=1e-8)


@patient
@given(celsius_range, celsius_range)
def test_more_heat_is_less_resistance(one_c: float, other_c: float) -> None:
    """Both formulas fall strictly with temperature."""
    assume(abs(one_c - other_c) > 1e-6)
    cold, hot = sorted((one_c, other_c))
    assert ntc.beta_ohm(cold, 1e4, 3950.0) > ntc.beta_ohm(hot, 1e4, 3950.0)
    assert ntc.steinhart_hart_ohm(cold, CURVE) > ntc.steinhart_hart_ohm(hot, CURVE)


@patient
@given(st.tuples(celsius_range, celsius_range, celsius_range))
def test_three_points_are_met(at: tuple[float, float, float]) -> None:
    """The solved curve runs through the three points it was solved from."""
    low, middle, high = sorted(at)
    assume(middle - low > 5 and high - middle > 5)
    points = [(t, ntc.steinhart_hart_ohm(t, CURVE)) for t in at]
    read = ntc.steinhart_hart(ntc.solve_three_points(points))
    for celsius, ohm in points:
        assert read(ohm) == pytest.approx(celsius, abs=1e-6)


@patient
@given(st.lists(st.integers(-40, 150), min_size=2, max_size=12, unique=True), st.data())
def test_a_table_reads_its_points_and_falls_between(at: list[int], data: st.DataObject) -> None:
    """At a point the reading is the point's; more resistance is never read as more heat."""
    points = [(float(t), ntc.steinhart_hart_ohm(t, CURVE)) for t in at]
    read = ntc.table(points)
    for celsius, ohm in points:
        assert read(ohm) == pytest.approx(celsius, abs=1e-9)
    ohms = st.floats(min(ohm for _, ohm in points), max(ohm for _, ohm in points))
    one, other = sorted((data.draw(ohms), data.draw(ohms)))
    assert read(one) >= read(other) - 1e-9


def test_a_table_gives_nothing_beyond_its_ends() -> None:
    """Neither more resistance than the coldest point's nor less than the hottest's is a temperature."""
    read = ntc.table([(0.0, 30_000.0), (50.0, 3500.0)])
    assert math.isnan(read(30_001.0))
    assert math.isnan(read(3499.0))


@patient
@given(st.floats(1.0, 1e7), st.floats(100.0, 1e6), sides)
def test_the_divider_goes_there_and_back_on_both_sides(ohm: float, reference_ohm: float, side: ntc.Side) -> None:
    """A resistance's ratio is read as that resistance, thermistor to ground or to supply."""
    ratio = ntc.ratio_from_ohm(ohm, reference_ohm, side)
    # near a rail a double's own grain becomes large beside the resistance
    assume(1e-6 < ratio < 1 - 1e-6)
    assert ntc.ohm_from_ratio(ratio, reference_ohm, side) == pytest.approx(ohm, rel=1e-8)


@patient
@given(st.floats(0.001, 0.999))
def test_the_two_sides_mirror_each_other(ratio: float) -> None:
    """The ratio to ground is one less the ratio to supply."""
    assert ntc.ohm_from_ratio(ratio, 1e4, "ground") == pytest.approx(ntc.ohm_from_ratio(1 - ratio, 1e4, "supply"))


@pytest.mark.parametrize(("ratio", "ohm"), [(0.0, 0.0), (-0.1, 0.0), (1.0, math.inf), (1.1, math.inf)])
def test_the_rails_are_a_short_and_an_open_circuit(ratio: float, ohm: float) -> None:
    """At and past the rails the resistance is 0 or infinite, the other way round with the thermistor to supply."""
    assert ntc.ohm_from_ratio(ratio, 1e4, "ground") == ohm
    assert ntc.ohm_from_ratio(1.0 - ratio, 1e4, "supply") == ohm


def test_self_heating_is_power_over_the_dissipation_constant() -> None:
    """1.65 V across 10 kohm are 0.272 mW; with 2 mW/K that is 0.136 K."""
    assert ntc.self_heating_k(10_000.0, 1.65, 0.002) == pytest.approx(0.136125)


@pytest.mark.parametrize(
    "points",
    [
        [(0.0, 1000.0), (25.0, 2000.0), (50.0, 3000.0)],
        [(0.0, 3000.0), (25.0, 2000.0)],
        [(0.0, 3000.0), (25.0, 3000.0), (50.0, 1000.0)],
        [(0.0, 3000.0), (25.0, -2000.0), (50.0, 1000.0)],
    ],
)
def test_three_points_of_no_thermistor_are_refused(points: list[tuple[float, float]]) -> None:
    """Rising, too few, equal or negative resistances are a ConversionUnfit that names the points."""
    with pytest.raises(ConversionUnfit) as unfit:
        ntc.solve_three_points(points)
    assert unfit.value.field == "points"


def test_two_points_of_no_thermistor_are_refused() -> None:
    """A resistance that rises with temperature, or one temperature twice, gives no B."""
    with pytest.raises(ConversionUnfit):
        ntc.beta_from_points(0.0, 1000.0, 50.0, 2000.0)
    with pytest.raises(ConversionUnfit):
        ntc.beta_from_points(25.0, 1000.0, 25.0, 2000.0)


@pytest.mark.parametrize("k", [(1e-3, -2e-4, 0.0), (1.0, 1e-3, 0.0), (0.0, 0.0, 0.0), (1e-3, 2e-4, -1e-5)])
def test_coefficients_of_no_thermistor_are_refused(k: tuple[float, float, float]) -> None:
    """Coefficients that fall, vanish or turn give no resistance but a ConversionUnfit."""
    with pytest.raises(ConversionUnfit):
        ntc.steinhart_hart_ohm(25.0, ntc.SteinhartHart(*k))
