"""The life of an alert and the rate of alerts against ISA-18.2 / IEC 62682 / EEMUA 191, as public summaries tell them.

The standards themselves were not read. States, transitions and figures: several independent public summaries that agree
(secondary); latching, shelving, suppression and out of service: OPC UA Part 9 v1.05, 4.8 (read).
"""

import pytest

from alerts.life import Change, Life, State
from daemon.alertrate import floods, rate, verdict

S, C = State, Change

#: state, what happens, next state: the basic diagram, then the latching one
PLAIN = [
    (S.NORMAL, C.RAISED, S.UNACKNOWLEDGED),
    (S.UNACKNOWLEDGED, C.ACKNOWLEDGED, S.ACKNOWLEDGED),
    (S.UNACKNOWLEDGED, C.RETURNED, S.RETURNED),
    (S.ACKNOWLEDGED, C.RETURNED, S.NORMAL),
    (S.RETURNED, C.ACKNOWLEDGED, S.NORMAL),
    (S.RETURNED, C.RAISED, S.UNACKNOWLEDGED),
    (S.ACKNOWLEDGED, C.WORSENED, S.UNACKNOWLEDGED),  # re-alarm
]
LATCHING = [
    (S.UNACKNOWLEDGED, C.RETURNED, S.LATCHED),
    (S.ACKNOWLEDGED, C.RETURNED, S.LATCHED_ACKNOWLEDGED),
    (S.LATCHED, C.ACKNOWLEDGED, S.LATCHED_ACKNOWLEDGED),
    (S.LATCHED, C.RAISED, S.UNACKNOWLEDGED),
    (S.LATCHED_ACKNOWLEDGED, C.RAISED, S.UNACKNOWLEDGED),
    (S.LATCHED_ACKNOWLEDGED, C.RESET, S.NORMAL),
]
VEILS = [
    (C.SHELVED, C.UNSHELVED, S.SHELVED),
    (C.SUPPRESSED, C.RELEASED, S.SUPPRESSED),
    (C.OUT_OF_SERVICE, C.IN_SERVICE, S.OUT_OF_SERVICE),
]


def go(life: Life, change: Change) -> Life:
    """What a change that can happen makes of a life."""
    after = life.after(change)
    assert after is not None
    return after


@pytest.mark.parametrize(("state", "change", "to"), PLAIN)
def test_the_basic_state_diagram_is_that_of_isa_18_2(state: State, change: Change, to: State) -> None:
    """ISA-18.2-2016 / IEC 62682:2014, secondary."""
    assert go(Life(state), change).state is to


@pytest.mark.parametrize(("state", "change", "to"), LATCHING)
def test_the_latching_state_diagram_is_that_of_opc_ua_part_9(state: State, change: Change, to: State) -> None:
    """A latched alert needs both an acknowledgement and a reset (OPC UA Part 9, 4.8)."""
    assert go(Life(state, latching=True), change).state is to


@pytest.mark.parametrize(("hide", "show", "word"), VEILS)
def test_what_is_hidden_is_followed_beneath_and_comes_back_as_its_condition_is(
    hide: Change, show: Change, word: State
) -> None:
    """From normal: back to normal if the condition is false, else unacknowledged (secondary)."""
    hidden = go(Life(), hide)
    assert hidden.state is word
    assert go(hidden, show).state is S.NORMAL
    raised = go(hidden, C.RAISED)
    assert raised.state is word
    assert go(raised, show).state is S.UNACKNOWLEDGED
    assert go(go(raised, C.RETURNED), show).state is S.NORMAL


@pytest.mark.parametrize(("hide", "show"), [(C.SHELVED, C.UNSHELVED), (C.OUT_OF_SERVICE, C.IN_SERVICE)])
def test_what_a_person_hid_is_new_again_when_it_comes_back(hide: Change, show: Change) -> None:
    """An acknowledged alert that still stands is unacknowledged after the shelf (secondary)."""
    assert go(go(Life(S.ACKNOWLEDGED), hide), show).state is S.UNACKNOWLEDGED


def test_a_flood_is_told_as_isa_18_2_defines_it() -> None:
    """Begins above ten in ten minutes, over below five (clause 16.4, secondary); the counts are our own."""
    counts = [2, 11, 8, 6, 4, 1, 0, 12, 5, 5, 3]
    assert floods(counts) == [(1, 3), (7, 9)]
    part_ns, now_ns = 600 * 10**9, 10**18
    told = [now_ns - (len(counts) - i) * part_ns + 1 + k for i, count in enumerate(counts) for k in range(count)]
    found = rate(told, now_ns - len(counts) * part_ns, now_ns)
    assert found.share_in_flood == pytest.approx(0.545455)
    assert (found.flood, found.last_10_min, found.most_in_10_min) == (False, 3, 12)
    assert found.average_per_10_min == pytest.approx(57 / 11, abs=1e-3)


@pytest.mark.parametrize(
    ("average", "word"),
    [
        (0.9, "very likely acceptable"),
        (2.0, "manageable"),  # one in five minutes
        (5.0, "likely over-demanding"),  # one in two minutes
        (10.1, "very likely unacceptable"),  # more than one a minute
    ],
)
def test_the_average_is_judged_in_the_words_of_eemua_191(average: float, word: str) -> None:
    """EEMUA 191 steady state, secondary."""
    assert verdict(average) == word


def test_a_rate_of_nothing_is_none_and_a_flood_that_lasts_is_said() -> None:
    """No alert ever; then twelve in the last ten minutes."""
    quiet = rate([], None, 10**18)
    assert (quiet.average_per_10_min, quiet.flood, quiet.last_10_min) == (0.0, False, 0)
    told = [10**18 - 10**9 * k for k in range(12)]
    loud = rate(told, told[-1], 10**18)
    assert loud.flood
    assert "flood" in loud.text
