"""The life of one alert, whatever happens to it in whatever order."""

from hypothesis import given
from hypothesis import strategies as st

from alerts.life import ACTIVE, HIDDEN, HIDES, SHOWS, Change, Life, State

CHANGES = st.lists(st.sampled_from(list(Change)), max_size=40)
TELLS = {Change.RAISED, Change.WORSENED, Change.UNSHELVED, Change.IN_SERVICE}


def live(changes: list[Change], latching: bool) -> list[tuple[Change, Life, bool]]:
    """Each change that could happen, the life after it, and whether people were told then."""
    life, lived = Life(), []
    for change in changes:
        after = life.after(change)
        if after is None:
            continue
        if change is Change.RAISED and latching:
            after = after.latched()
        told = after.due
        life = after.told() if told else after
        lived.append((change, life, told))
    return lived


@given(CHANGES, st.booleans())
def test_no_path_loses_an_active_alert(changes: list[Change], latching: bool) -> None:
    """A condition that was raised and did not return is shown, or under something that hides it; never normal."""
    condition = False
    for change, life, _ in live(changes, latching):
        condition = {Change.RAISED: True, Change.RETURNED: False}.get(change, condition)
        assert life.active is condition
        assert life.state in (ACTIVE | HIDDEN if condition else set(State) - ACTIVE)


@given(CHANGES, st.booleans())
def test_what_is_shown_and_stands_unacknowledged_has_been_told(changes: list[Change], latching: bool) -> None:
    """Nothing is owed of it; what hides an alert keeps the debt until it shows."""
    for _, life, _ in live(changes, latching):
        assert not (life.state is State.UNACKNOWLEDGED and life.owed)


@given(CHANGES, st.booleans())
def test_nothing_is_told_twice(changes: list[Change], latching: bool) -> None:
    """There are never more tellings than things that there were to tell."""
    debts = tellings = 0
    for change, _, told in live(changes, latching):
        debts += change in TELLS
        tellings += told
        assert tellings <= debts


@given(CHANGES, st.booleans())
def test_only_a_person_ends_a_latched_trip(changes: list[Change], latching: bool) -> None:
    """Once tripped it is not normal beneath until somebody acknowledged and reset it."""
    tripped = False
    for change, life, _ in live(changes, latching):
        if change is Change.RAISED and latching:
            tripped = True
        if change is Change.RESET:
            tripped = False
        assert not (tripped and life.core is State.NORMAL)


@given(CHANGES)
def test_every_veil_can_be_taken_away_again_and_only_once(changes: list[Change]) -> None:
    """Whatever went before, what hides an alert can be undone, and then not again."""
    life = Life()
    for change in changes:
        life = life.after(change) or life
    for show, veil in SHOWS.items():
        after = life.after(show)
        assert (after is not None) is (veil in life.hidden)
        if after is not None:
            assert after.after(show) is None
    for hide, veil in HIDES.items():
        assert (life.after(hide) is None) is (veil in life.hidden)


def test_an_acknowledgement_never_clears_a_condition() -> None:
    """The reference's first invariant."""
    raised = Life().after(Change.RAISED)
    assert raised is not None
    seen = raised.after(Change.ACKNOWLEDGED)
    assert seen is not None
    assert seen.active


def test_what_was_acknowledged_before_a_link_was_lost_is_acknowledged_after_it() -> None:
    """Suppression keeps what a person said of the alert, and what nobody said."""
    for core in (State.ACKNOWLEDGED, State.UNACKNOWLEDGED, State.RETURNED):
        hidden = Life(core).after(Change.SUPPRESSED)
        assert hidden is not None
        shown = hidden.after(Change.RELEASED)
        assert shown is not None
        assert shown.state is core
        assert not shown.due


def test_what_came_and_went_while_suppressed_is_nobody_s_business() -> None:
    """Never told, no longer there: normal."""
    life: Life | None = Life()
    for change in (Change.SUPPRESSED, Change.RAISED, Change.RETURNED, Change.RELEASED):
        assert life is not None
        life = life.after(change)
    assert life is not None
    assert life.state is State.NORMAL
