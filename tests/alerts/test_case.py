"""The thermal resistance of each device's case, against the closed form."""

import pytest

from alerts.case import LEAST_J, CaseResistance
from sensors.types import CHANNELS, INDEX, NAN


def values(**channels: float) -> tuple[float, ...]:
    """A frame's values."""
    given = {name.replace("_", "-"): value for name, value in channels.items()}
    return tuple(given.get(name, NAN) for name in CHANNELS)


def test_each_device_has_the_resistance_that_made_its_temperature() -> None:
    """T = T_ref + P_i R (JESD51): 30 W shared 2 to 1, 0.8 and 2.4 K/W."""
    case = CaseResistance()
    currents = {INDEX["drain-1"]: 2.0, INDEX["drain-2"]: 1.0}
    warm = values(heatsink=50.0, case_1=50.0 + 20.0 * 0.8, case_2=50.0 + 10.0 * 2.4)
    for _ in range(400):
        case.look(warm, currents, 30.0, 1.0)
    assert case.figures() == pytest.approx({"case_1_k_per_w": 0.8, "case_2_k_per_w": 2.4})


def test_what_was_hardly_heated_is_not_told() -> None:
    """Before a case has come to its place."""
    case = CaseResistance()
    case.look(values(heatsink=50.0, case_1=60.0), {INDEX["drain-1"]: 2.0}, LEAST_J - 1.0, 1.0)
    assert not case.figures()


def test_a_lone_current_beside_two_cases_tells_nothing() -> None:
    """It is the sum of both devices; whose heat it is can't be known."""
    case = CaseResistance()
    case.look(values(heatsink=50.0, case_1=60.0, case_2=61.0), {INDEX["drain-1"]: 4.0}, 1e6, 1.0)
    assert not case.figures()
    case.look(values(heatsink=50.0, case_1=60.0), {INDEX["drain-1"]: 4.0}, 1e6, 1.0)
    assert case.figures() == {"case_1_k_per_w": pytest.approx(1e-5)}
