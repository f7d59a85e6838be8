"""What a certificate says, from what is kept."""

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.limits import Limits
from daemon.certificate.counted import count
from daemon.certificate.facts import Calibration, Facts, Workshop
from daemon.certificate.gather import asked_s, gather, happened
from daemon.certificate.sheet import words
from daemon.certificate.text import NO_CALIBRATION
from daemon.errors import NoSuch, Refused
from daemon.plan import Plan
from daemon.store import Reader, Store
from daemon.store.items import JobStarted
from tests.daemon.certificate.conftest import FAILED, INCOMPLETE, PASSED, PLAN, START_NS

SHOP = Workshop(name="the workshop")


def calibrated(soaked: Path, expanded: float | None, due: date | None = None) -> Facts:
    """The soak that passed, its heatsink calibrated to so much."""
    one = Calibration(id="cal-1", channel="heatsink", made=date(2025, 3, 1), due=due, expanded=expanded)
    return gather(Reader(soaked), None, PASSED, SHOP, calibrations=[one])


@pytest.mark.parametrize("job", [PASSED, FAILED, INCOMPLETE])
def test_what_was_delivered_is_counted_from_the_sealed_readings_as_it_was_live(soaked: Path, job: int) -> None:
    """Two independent counts of one soak: frame by frame while it ran, by columns from the file."""
    reader = Reader(soaked)
    figures, facts = reader.job(job).figures, gather(reader, None, job, SHOP)
    assert facts.delivered.anew
    assert facts.delivered.key_down_s == pytest.approx(figures["key_down_s"], abs=1e-3)
    assert facts.delivered.drawn_j == pytest.approx(figures["drawn_energy_j"], abs=1e-3)
    assert facts.delivered.heat_s == pytest.approx(figures["heat_equivalent_s"], abs=1e-3)
    assert facts.delivered.load_j == pytest.approx(figures["rf_energy_j"], abs=1e-3)
    assert count(reader.seals.path(job), Limits(), facts.run).readings == figures["frames"]


def test_key_down_and_energy_are_what_plan_and_radio_make_them(soaked: Path) -> None:
    """80 s and 60 s of key-down were asked; 25 W or so went into the load meanwhile, about half of what was drawn."""
    delivered = gather(Reader(soaked), None, PASSED, SHOP).delivered
    assert delivered.asked_s == Plan.from_toml(PLAN).key_down_s == 140.0
    assert delivered.key_down_s == pytest.approx(140.0, abs=3.0)
    assert delivered.load_j == pytest.approx(25.0 * 140.0, rel=0.1)
    assert delivered.drawn_j is not None
    assert delivered.load_j is not None
    assert 0.4 < delivered.load_j / delivered.drawn_j < 0.7


def test_the_digest_is_that_of_the_sealed_file(soaked: Path, facts: Facts) -> None:
    """Printed so that whoever has the file can compare."""
    reader = Reader(soaked)
    assert facts.sealed is not None
    assert facts.sealed.sha256 == reader.job(PASSED).sealed_sha256
    assert facts.sealed.intact


def test_without_a_calibration_it_says_that_figures_are_as_read(facts: Facts) -> None:
    """Nothing is claimed that is not known."""
    assert words(facts).calibrations_say == NO_CALIBRATION
    assert all(row[2] in ("–", "") for row in words(facts).figures[1:])


def test_a_calibration_gives_its_figure_an_uncertainty_and_says_when_it_was_past_due(soaked: Path) -> None:
    """With the channel's name, its dates, and U."""
    said = words(calibrated(soaked, 0.62, due=date(2025, 6, 1)))
    assert said.figures[1][:3] == ["Heatsink, hottest", said.figures[1][1], "± 0.7\u00a0°C"]
    assert said.calibrations[1][4] == "2025-06-01 (PAST DUE)"
    assert said.calibrations_say.startswith("Past due when the soak ended: heatsink.")


def test_a_pass_that_its_uncertainty_does_not_bear_out_is_certified_incomplete(soaked: Path) -> None:
    """The first reason is the figure inside its guard band."""
    facts = calibrated(soaked, 60.0)
    assert facts.verdict == "incomplete"
    assert "guard band" in facts.reasons[0]


@given(first=st.floats(0, 200), more=st.floats(0, 200))
@settings(max_examples=30, deadline=None)  # each reads a file
def test_more_uncertainty_never_makes_a_better_certificate(soaked: Path, first: float, more: float) -> None:
    """What is incomplete stays so with less known."""
    verdicts = [calibrated(soaked, u).verdict for u in (first, first + more)]
    assert verdicts != ["incomplete", "pass"]


@pytest.mark.parametrize("job", [FAILED, INCOMPLETE])
def test_no_uncertainty_turns_a_soak_that_did_not_pass_into_another(soaked: Path, job: int) -> None:
    """A fail is a fail, with or without a calibration."""
    reader = Reader(soaked)
    one = Calibration(id="1", channel="heatsink", made=date(2025, 3, 1), expanded=1e3)
    assert gather(reader, None, job, SHOP, calibrations=[one]).verdict == reader.job(job).verdict


def test_an_alert_is_one_entry_with_what_became_of_it(soaked: Path) -> None:
    """The trip that unkeyed is told as such, once."""
    found = gather(Reader(soaked), None, INCOMPLETE, SHOP).happened
    assert [(h.rule, h.unkeyed) for h in found if h.priority == "trip"] == [("reflected-power", True)]
    assert happened([]) == []


def test_every_plan_asks_for_the_same_key_down_as_the_plan_itself_says() -> None:
    """A last cycle that is cut short counts as far as it goes."""
    plan = Plan.from_toml('[[phase]]\ndrive = "carrier"\nminutes = 1\non_s = 25\noff_s = 10\n')
    assert asked_s(plan.view()) == plan.key_down_s == 50.0


def test_a_soak_that_runs_has_no_certificate(tmp_path: Path) -> None:
    """It is refused with the reason; so is a job that is not there."""
    with Store(tmp_path / "data") as store:
        store.put(JobStarted(1, "J-1", "a unit", "bay-1", "short soak", PLAN, {}, START_NS, 0.0))
        store.flush()
        with pytest.raises(Refused, match="still runs"):
            gather(store, None, 1, SHOP)
        with pytest.raises(NoSuch):
            gather(store, None, 99, SHOP)
