"""The figure of a job, from its curves."""

import itertools
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.charts import PANELS, figure, numbered
from dashboard.paper import HATCHES, plain_layout
from tests.dashboard.conftest import curves, job, tag


def axes(made: dict[str, Any]) -> list[tuple[float, float]]:
    """The vertical extents of all charts, from the foot up."""
    return sorted(tuple(v["domain"]) for k, v in made["layout"].items() if k.startswith("yaxis"))


@given(st.sets(st.sampled_from([name for panel in PANELS for name in panel.channels]), min_size=1))
def test_the_charts_stand_on_each_other_without_touching(names: set[str]) -> None:
    """Whatever channels a job has; all on one time axis, the plan at the foot."""
    made = figure(job(), curves(**{name: [1.0, 2.0] for name in names}))
    extents = axes(made)
    assert extents[0][0] == 0.0
    assert abs(extents[-1][1] - 1.0) < 1e-6
    assert all(below[1] < above[0] for below, above in itertools.pairwise(extents))
    drawn = {t["name"] for t in made["data"]} - set(HATCHES)
    assert drawn == names
    assert {t["xaxis"] for t in made["data"]} == {"x"}


def test_missing_readings_stay_a_gap() -> None:
    """No line is drawn over what was not measured."""
    trace = figure(job(), curves(heatsink=[20.0, None, 30.0]))["data"][-1]
    assert trace["y"] == [20.0, None, 30.0]
    assert trace["connectgaps"] is False


def test_lines_of_one_chart_differ_by_more_than_colour() -> None:
    """Each has its own dash too."""
    for panel in PANELS:
        made = figure(job(), curves(**{name: [1.0] for name in panel.channels}))
        dashes = [t["line"]["dash"] for t in made["data"] if "line" in t and t["type"] == "scatter"]
        assert len(set(dashes[:6])) == len(dashes[:6])


def test_time_is_in_minutes_and_the_limit_is_drawn() -> None:
    """Ten minutes of plan; a line and a word at 75 °C."""
    made = figure(job(), curves(heatsink=[20.0, 30.0]))
    assert made["data"][-1]["x"] == [0.0, 10.0]
    assert made["layout"]["xaxis"]["range"] == [0.0, 10.0]
    assert any(shape["y0"] == 75.0 for shape in made["layout"]["shapes"])
    assert any("75" in note["text"] for note in made["layout"]["annotations"])


def test_each_drive_of_the_plan_has_its_own_hatching() -> None:
    """Not only its own colour; they stand where the plan has them."""
    assert len(set(HATCHES.values())) == len(HATCHES)
    bars = {t["name"]: t for t in figure(job(), curves(heatsink=[1.0]))["data"] if t["type"] == "bar"}
    assert (bars["off"]["base"], bars["off"]["x"]) == ([0.0], [1.0])
    assert (bars["carrier"]["base"], bars["carrier"]["x"]) == ([1.0], [9.0])


def test_tags_are_marks_at_their_minutes_and_close_ones_share_a_label() -> None:
    """The worst of them gives the shape."""
    made = figure(job(tags=[tag(300.0), tag(305.0, "trip"), tag(500.0)]), curves(heatsink=[1.0]))
    assert [s["x0"] for s in made["layout"]["shapes"] if s["xref"] == "x"] == [5.0, 305 / 60, 500 / 60]
    words = [a["text"] for a in made["layout"]["annotations"] if a["xref"] == "x"]
    assert words == ["⬢ 1–2", "▲ 3"]


def test_what_ended_a_soak_is_marked_at_its_end_and_not_beyond_the_paper() -> None:
    """A trip is written down a moment after the last reading; one that lies outside a zoom is not pulled into it."""
    made = figure(job(tags=[tag(600.4, "trip"), tag(900.0)]), curves(heatsink=[1.0]))
    assert [a["x"] for a in made["layout"]["annotations"] if a["xref"] == "x"] == [10.0, 15.0]
    assert [s["x0"] for s in made["layout"]["shapes"] if s["xref"] == "x"] == [10.0, 15.0]


def test_tags_are_numbered_by_time() -> None:
    """So that chart and list call them the same."""
    assert [(n, t.at_s) for n, t in numbered([tag(9.0), tag(3.0)])] == [(1, 3.0), (2, 9.0)]


def test_a_zoom_outlives_a_refresh() -> None:
    """The figure of a running job is replaced every two seconds; what a person chose stays."""
    first, second = (figure(job(), curves(heatsink=values)) for values in ([1.0], [1.0, 2.0]))
    assert first["layout"]["uirevision"] == second["layout"]["uirevision"]


@pytest.mark.parametrize(
    ("from_s", "to_s", "title", "marks"),
    [
        (0.0, 600.0, "minutes since the start", None),
        (0.0, 86_400.0, "hours since the start", [str(h) for h in range(0, 25, 2)]),
        (40_000.0, 60_000.0, "hours since the start", [f"{11.5 + i / 2:g}" for i in range(11)]),
    ],
)
def test_a_long_time_axis_is_read_in_hours(from_s: float, to_s: float, title: str, marks: list[str] | None) -> None:
    """1440 minutes say nothing; the values behind the marks stay minutes."""
    axis = plain_layout(from_s, to_s, "since the start")["xaxis"]
    assert axis["title"]["text"] == title
    assert axis.get("ticktext") == marks
    assert [v / 60 for v in axis.get("tickvals", [])] == [float(m) for m in marks or []]


def test_many_keys_take_two_lines_and_the_marks_of_alerts_stand_above_both() -> None:
    """A phone has no room for five in one line."""
    few, many = (
        figure(job(tags=[tag(300.0)]), curves(**{name: [1.0, 2.0] for name in names}))["layout"]
        for names in (("heatsink", "load"), ("heatsink", "case-1", "case-2", "load", "ambient"))
    )
    headings = [next(a for a in layout["annotations"] if "<b>" in a["text"]) for layout in (few, many)]
    assert ["<br>" in one["text"] for one in headings] == [False, True]
    marks = [next(a["yshift"] for a in layout["annotations"] if a["xref"] == "x") for layout in (few, many)]
    assert marks[1] - marks[0] == many["margin"]["t"] - few["margin"]["t"] > 0
