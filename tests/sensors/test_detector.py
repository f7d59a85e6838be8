"""A detector's calibration table."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.detector import detector
from sensors.errors import ConversionUnfit
from sensors.rf import w_from_dbm

TABLE = [(0.02, 10.0), (0.1, 20.0), (0.45, 30.0), (1.6, 40.0), (5.2, 50.0)]
patient = settings(deadline=None)
volts_inside = st.floats(0.02, 5.2)


@pytest.mark.parametrize(("volts", "dbm"), TABLE)
def test_each_point_is_read_both_ends_included(volts: float, dbm: float) -> None:
    """At a calibrated voltage the reading is the calibrated power."""
    assert detector(TABLE)(volts) == pytest.approx(w_from_dbm(dbm))


@patient
@given(volts_inside, volts_inside)
def test_more_voltage_is_never_less_power(one_v: float, other_v: float) -> None:
    """The reading rises with the output and stays within the table's powers."""
    read = detector(TABLE)
    low, high = sorted((one_v, other_v))
    assert 0.01 * (1 - 1e-9) <= read(low) <= read(high) * (1 + 1e-12) <= 100.0 * (1 + 1e-9)


@patient
@given(st.floats(1.0, 2.0), st.floats(0.02, 5.0))
def test_a_power_law_is_read_exactly(exponent: float, volts: float) -> None:
    """A detector that goes with any one power of its input is straight in (log V, dBm): two points are enough."""
    read = detector([(v, 30.0 + 10.0 * exponent * math.log10(v)) for v in (0.01, 10.0)])
    assert read(volts) == pytest.approx(volts**exponent, rel=1e-9)


def test_the_middle_is_the_geometric_middle() -> None:
    """Half way between two points in log V lies half way between them in dBm."""
    assert detector(TABLE)(math.sqrt(0.1 * 0.45)) == pytest.approx(w_from_dbm(25.0))


def test_the_order_of_the_points_does_not_matter() -> None:
    """A table may be written down from either end."""
    assert detector(TABLE[::-1])(1.0) == detector(TABLE)(1.0)


@pytest.mark.parametrize(
    "table", [[(0.1, 10.0)], [(0.0, 0.0), (1.0, 30.0)], [(0.1, 20.0), (1.0, 10.0)], [(0.1, 10.0), (0.1, 20.0)]]
)
def test_a_table_of_no_detector_is_refused(table: list[tuple[float, float]]) -> None:
    """One point, no voltage, falling power or one voltage twice are a ConversionUnfit that names the table."""
    with pytest.raises(ConversionUnfit) as unfit:
        detector(table)
    assert unfit.value.field == "table"
