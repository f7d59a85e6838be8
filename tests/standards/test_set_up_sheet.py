"""The set-up sheet's checks against figures of the trade (common practice, no source) and the ITU Radio Regulations.

A unit of this class in factory trim: a 10 W AM carrier, 20 to 25 W PEP on SSB, FM the same as the AM carrier. After a
refit with nothing else touched: 11 to 12 W carrier with peaks above 30 W, 30 to 33 W PEP; gates near 4.2 V, both
currents matched. All of them: common practice, no source.
"""

import math

import pytest

from daemon.api.booking_models import DeviceSetUp, Fitted, Power, Sheet
from daemon.booking.checks import MOST_PEAK, depth_of, judge

FITTED = Fitted(type="type A", lot="lot 7", rth_jc_k_w=0.6, rth_cs_k_w=0.2, tj_max_c=175.0)
MATCHED = [DeviceSetUp(bias_v=4.2, idle_a=0.25), DeviceSetUp(bias_v=4.21, idle_a=0.25)]
METER = "bench wattmeter"


def sheet(before: Power, after: Power) -> Sheet:
    """A sheet with matched devices."""
    return Sheet(fitted=FITTED, device=MATCHED, before=before, after=after)


@pytest.mark.parametrize("before_ssb_w", [20.0, 22.5, 25.0])
@pytest.mark.parametrize("after_ssb_w", [30.0, 31.5, 33.0])
@pytest.mark.parametrize("after_carrier_w", [11.0, 11.5, 12.0])
def test_a_usual_refit_passes_without_a_complaint(
    before_ssb_w: float, after_ssb_w: float, after_carrier_w: float
) -> None:
    """Common practice, no source; the gain on SSB comes out between 0.8 and 2.2 dB."""
    before = Power(am_carrier_w=10, am_pep_w=30, fm_w=10, ssb_pep_w=before_ssb_w, meter=METER)
    after = Power(am_carrier_w=after_carrier_w, am_pep_w=31, fm_w=after_carrier_w, ssb_pep_w=after_ssb_w, meter=METER)
    judged = judge(sheet(before, after))
    assert judged.questions == []
    assert judged.not_judged == []
    assert 0.8 <= round(judged.gain_db["ssb_pep_w"], 1) <= 2.2
    assert judged.gain_db["ssb_pep_w"] == pytest.approx(10 * math.log10(after_ssb_w / before_ssb_w), abs=1e-3)


def test_fm_that_differs_from_the_am_carrier_is_questioned() -> None:
    """10 W of FM beside a 14 W AM carrier (common practice, no source)."""
    (question,) = judge(Sheet(after=Power(am_carrier_w=14, fm_w=10))).questions
    assert question.check == "fm-carrier"
    assert question.fields == ["after.fm_w", "after.am_carrier_w"]
    assert "1.5 dB apart" in question.text
    assert "common practice, no source" in question.source


def test_peaks_that_no_modulation_gives_are_questioned() -> None:
    """60 W from a 10 W carrier, where ITU RR 1.157 and 1.159 leave 40 W at the most."""
    (question,) = judge(Sheet(before=Power(am_carrier_w=10, am_pep_w=60))).questions
    assert question.check == "am-peak"
    assert "40 W" in question.text
    assert "ITU Radio Regulations" in question.source


def test_full_modulation_is_let_pass_and_a_hair_more_is_not() -> None:
    """PEP = 4 × carrier at m = 1 (ITU RR 1.157, 1.159), also where the figures have no exact binary form."""
    assert MOST_PEAK == 4.0
    for carrier_w in (10.0, 10.1, 11.3, 0.7):
        pep_w = float(f"{4 * carrier_w:.1f}")
        assert judge(Sheet(after=Power(am_carrier_w=carrier_w, am_pep_w=pep_w))).questions == []
        over = judge(Sheet(after=Power(am_carrier_w=carrier_w, am_pep_w=pep_w + 0.1))).questions
        assert [question.check for question in over] == ["am-peak"]


@pytest.mark.parametrize(
    ("peak_over_carrier", "depth"), [(1.0, 0.0), (1.69, 0.3), (2.25, 0.5), (3.24, 0.8), (4.0, 1.0)]
)
def test_modulation_depth_follows_from_carrier_and_peak(peak_over_carrier: float, depth: float) -> None:
    """m = sqrt(PEP/carrier) - 1: the closed form (1 + m)² of ITU RR 1.157 and 1.159, turned round."""
    assert depth_of(10.0, 10.0 * peak_over_carrier) == pytest.approx(depth)
    judged = judge(Sheet(after=Power(am_carrier_w=10, am_pep_w=10.0 * peak_over_carrier)))
    assert judged.depth == {"after": pytest.approx(depth, abs=1e-4)}


def test_idle_currents_that_are_not_matched_are_questioned() -> None:
    """Both devices of a pair draw the same idle current (common practice, no source)."""
    apart = [DeviceSetUp(idle_a=0.25), DeviceSetUp(idle_a=0.35)]
    (question,) = judge(Sheet(device=apart)).questions
    assert question.check == "idle-match"
    assert question.fields == ["device[1].idle_a", "device[2].idle_a"]
    assert "33%" in question.text


@pytest.mark.parametrize(("watts", "gain_db"), [((20, 40), 3.0103), ((25, 25), 0.0), ((10, 12.589), 1.0)])
def test_gain_is_ten_times_the_logarithm_of_the_ratio(watts: tuple[float, float], gain_db: float) -> None:
    """Twice the power is 3.0103 dB, 1.2589 times is 1 dB (definition of the decibel, IEC 60027-3; from memory)."""
    judged = judge(Sheet(before=Power(ssb_pep_w=watts[0]), after=Power(ssb_pep_w=watts[1])))
    assert judged.gain_db["ssb_pep_w"] == pytest.approx(gain_db, abs=1e-3)
