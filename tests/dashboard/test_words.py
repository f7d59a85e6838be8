"""How figures and times are written."""

import pytest

from dashboard.words import duration, figure_name, number


@pytest.mark.parametrize(
    ("value", "unit", "written"),
    [
        (61.23, "Cel", "61.2\u00a0°C"),
        (-3.0, "Cel", "−3.0\u00a0°C"),
        (-0.004, "W", "0.00\u00a0W"),
        (2.9914, "A", "2.991\u00a0A"),
        (20433.4, "J", "20\u202f433\u00a0J"),
        (204331.4, "J", "56.8\u00a0Wh"),
        (3.0, "", "3"),
        (0.25, "", "0.25"),
        (0.5, "s", "0.5\u00a0s"),
        (3.0, "s", "3\u00a0s"),
        (None, "W", "–"),
    ],
)
def test_a_figure_has_its_unit_and_no_more_places_than_it_deserves(
    value: float | None, unit: str, written: str
) -> None:
    """One that is not known is a dash."""
    assert number(value, unit) == written


@pytest.mark.parametrize(
    ("seconds", "written"),
    [(45, "45 s"), (59.6, "1 min"), (570, "9 min 30 s"), (7200, "2 h"), (7500, "2 h 05 min"), (None, "–")],
)
def test_a_length_of_time_is_read_at_a_glance(seconds: float | None, written: str) -> None:
    """Two units at most."""
    assert duration(seconds).replace("\u00a0", " ") == written


@pytest.mark.parametrize(
    ("name", "plain", "unit"),
    [
        ("heatsink_max_c", "heatsink max", "Cel"),
        ("heatsink_margin_c", "heatsink margin", "K"),
        ("key_down_s", "key down", "s"),
        ("swr_max", "SWR max", ""),
        ("swr_dwell_s", "SWR dwell", "s"),
        ("frames", "frames", ""),
        ("heatsink_k_per_w", "heatsink's thermal resistance", "K/W"),
        ("rf_energy_j", "RF energy into the load", "J"),
    ],
)
def test_a_figures_name_gives_its_unit(name: str, plain: str, unit: str) -> None:
    """The unit is in the name wherever a name stands alone."""
    assert figure_name(name) == (plain, unit)
