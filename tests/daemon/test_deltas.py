"""Patches of the rack's picture."""

import json

from hypothesis import given
from hypothesis import strategies as st

from daemon.api.deltas import BayPicture, Cursor, Mirror, Picture

FIELDS = st.dictionaries(st.sampled_from(["status", "job", "figures"]), st.one_of(st.integers(0, 3), st.none()))
POINTS = st.lists(st.tuples(st.integers(0, 99), st.integers(20, 90)), max_size=3)
#: what a bay does between two looks: nothing, a change of fields, points more, a hotter last point, a new soak
WHATS = st.sampled_from(["nothing", "fields", "more", "hotter", "anew"])
STEPS = st.lists(st.tuples(WHATS, FIELDS, POINTS), max_size=12)


def picture(*bays: tuple[str, BayPicture]) -> Picture:
    """A rack of these bays."""
    return Picture("rack-1", "", dict(bays))


def shown(of: Picture) -> dict[str, object]:
    """What a picture shows, without the ages."""
    return {name: (dict(bay.fields), list(bay.strip)) for name, bay in of.bays.items()}


@given(STEPS, st.integers(1, 4))
def test_patches_make_the_same_picture_whenever_a_listener_looks(steps: list, every: int) -> None:  # type: ignore[type-arg]
    """Over JSON, for one that hears of each step and for one that sleeps through some of them."""
    # a field never goes away: a bay's view has all of them from the beginning
    fields: dict[str, object] = {"status": 0, "job": None, "figures": 0}
    strip: list[tuple[float, float]] = []
    bay = BayPicture(dict(fields), strip, 1.0)
    cursor, mirror = Cursor(), Mirror()
    seen = mirror.apply(json.loads(json.dumps(cursor.patch(picture(("bay-1", bay)), 2.0))), 2.0)
    for i, (what, change, points) in enumerate(steps):
        if what == "fields":
            fields |= change
        if what == "anew":
            strip = []
        if what in ("more", "anew"):
            strip += points
        if what == "hotter" and strip:
            strip[-1] = (strip[-1][0], strip[-1][1] + 1)
        if what != "nothing":
            bay = BayPicture(dict(fields), strip, 1.0)
        if i % every == 0:
            seen = mirror.apply(json.loads(json.dumps(cursor.patch(picture(("bay-1", bay)), 2.0))), 2.0)
            assert shown(seen) == shown(picture(("bay-1", bay)))


def test_nothing_is_said_where_nothing_changed() -> None:
    """Neither of the rack nor of a bay that stands as it stood."""
    still = BayPicture({"status": "keyed"}, [(1.0, 22.0)], 0.0)
    cursor = Cursor()
    cursor.patch(picture(("bay-1", still), ("bay-2", still)), 1.0)
    moved = BayPicture({"status": "keyed"}, [(1.0, 22.0)], 1.0)
    patch = cursor.patch(picture(("bay-1", still), ("bay-2", moved)), 1.5)
    assert list(patch["bays"]) == ["bay-2"]
    assert patch["bays"]["bay-2"].keys() == {"age_s", "strip"}
    assert cursor.patch(picture(("bay-1", still), ("bay-2", moved)), 1.5) == {}


def test_a_strip_goes_over_once_and_then_grows_at_its_end() -> None:
    """Four hundred points once; of a new one only itself and the one before it, which may have become hotter."""
    strip = [(float(i), 22.0) for i in range(400)]
    cursor = Cursor()
    assert len(cursor.patch(picture(("b", BayPicture({}, strip, 0.0))), 0.0)["bays"]["b"]["strip"][1]) == 400
    strip.append((400.0, 23.0))
    patch = cursor.patch(picture(("b", BayPicture({}, strip, 0.0))), 0.0)
    assert patch["bays"]["b"]["strip"] == [399, [(399.0, 22.0), (400.0, 23.0)]]


def test_an_age_runs_on_from_teller_to_listener() -> None:
    """A bay that was heard a second before the patch was made is a second old to who gets it, and grows older there."""
    cursor, mirror = Cursor(), Mirror()
    patch = cursor.patch(picture(("b", BayPicture({}, [], 10.0)), ("never", BayPicture({}, [], None))), 11.0)
    got = mirror.apply(patch, 500.0)
    assert got.bays["b"].heard_s == 499.0
    assert got.bays["never"].heard_s is None


def test_a_bay_that_is_taken_out_of_the_rack_goes() -> None:
    """The order says which bays there are."""
    bay = BayPicture({}, [], None)
    cursor, mirror = Cursor(), Mirror()
    mirror.apply(cursor.patch(picture(("a", bay), ("b", bay)), 0.0), 0.0)
    assert list(mirror.apply(cursor.patch(picture(("b", bay)), 0.0), 0.0).bays) == ["b"]


def test_the_count_of_unacknowledged_alerts_goes_over_when_it_changes() -> None:
    """It is on every page, and sounds the horn."""
    cursor, mirror = Cursor(), Mirror()
    said = [cursor.patch(Picture("rack-1", "", {}, count), 0.0) for count in (0, 2, 2, 0)]
    assert [patch.get("alerts_unacknowledged") for patch in said] == [0, 2, None, 0]
    assert [mirror.apply(patch, 0.0).unacknowledged for patch in said] == [0, 2, 2, 0]
