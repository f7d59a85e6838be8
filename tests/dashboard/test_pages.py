"""The pages: what they say, from what the daemon says; and that each is served."""

import json
import re
from typing import Any

import httpx
import pytest
from dash.development.base_component import Component

from daemon.api.booking_models import BookingView, DeviceSetUp, Fitted, Power
from dashboard.pages import about, bay, jobs, rack
from dashboard.pages import job as job_page
from tests.dashboard.conftest import curves, job, tag


def text(made: Component) -> str:
    """All that a layout says, as the JSON that Dash sends."""
    plain: dict[str, Any] = made.to_plotly_json()  # type: ignore[no-untyped-call]
    return json.dumps(plain, default=lambda part: part.to_plotly_json(), ensure_ascii=False)


def opened(page: httpx.Client, path: str) -> str:
    """The layout of a page, as Dash serves it to the browser."""
    answer = page.get("/_dash-layout", headers={"referer": str(page.base_url.join(path))})
    assert answer.status_code == 200
    return json.dumps(body_of(answer.json())["children"], ensure_ascii=False)


def body_of(layout: Any) -> Any:
    """What is within the body of a layout."""
    return next(part["props"] for part in layout["props"]["children"] if part["props"]["id"] == "body")


def test_a_page_whose_browser_does_not_say_where_it_is_asks_once_more(page: httpx.Client) -> None:
    """By a callback, as soon as Dash has begun: what it is given is the same."""
    body = body_of(page.get("/_dash-layout").json())
    assert body["children"]["props"]["id"] == "asked"
    order = {
        "output": "body.children",
        "outputs": {"id": "body", "property": "children"},
        "inputs": [{"id": "asked", "property": "pathname", "value": "/limits"}],
        "changedPropIds": ["asked.pathname"],
    }
    said = page.post("/_dash-update-component", json=order).json()["response"]["body"]["children"]
    assert json.dumps(said, ensure_ascii=False) == opened(page, "/limits")


@pytest.mark.parametrize(
    ("path", "title"),
    [
        ("/", "Rack"),
        ("/jobs", "Jobs"),
        ("/about", "Cautions and versions"),
        ("/job/1", "Job 1"),
        ("/bay/bay-1", "Bay bay-1"),
    ],
)
def test_every_page_has_its_title_its_language_and_the_red_button(page: httpx.Client, path: str, title: str) -> None:
    """The button stands outside what scripts draw, as a form that works without any."""
    answer = page.get(path)
    assert answer.status_code == 200
    assert f"<title>{title} · Keysoak</title>" in answer.text
    assert '<html lang="en">' in answer.text
    assert re.search(
        r'<form[^>]+action="/unkey" method="post"[^>]*>\s*<button type="submit"[^>]*>Unkey all', answer.text
    )


def test_a_title_never_carries_markup(page: httpx.Client) -> None:
    """The name of a bay in a link is somebody's text."""
    assert "<b>" not in page.get("/bay/<b>x").text.split("</title>")[0]


def test_pages_load_nothing_from_elsewhere(page: httpx.Client) -> None:
    """No address of another host in what a browser loads."""
    for path in ("/", "/jobs", "/job/1"):
        loads = re.findall(r'(?:src|href)="([^"]+)"', page.get(path).text)
        assert loads
        assert all(load.startswith(("/", "#")) and not load.startswith("//") for load in loads)


def test_the_layouts_are_served_by_dash(page: httpx.Client) -> None:
    """Each path gets its own; a job that is not there and a path that leads nowhere say so."""
    assert '"id": "rack"' in opened(page, "/")
    assert "J-1" in opened(page, "/jobs")
    assert "Nothing was raised" in opened(page, "/job/1")
    assert "bay-2" in opened(page, "/bay/bay-2")
    assert "RF burns" in opened(page, "/about")
    assert "no job 99" in opened(page, "/job/99")
    assert "leads nowhere" in opened(page, "/else")


def test_without_a_daemon_a_page_says_that_it_does_not_answer(alone: httpx.Client) -> None:
    """An error is a sentence on the page, not an empty page."""
    assert "does not answer" in opened(alone, "/jobs")
    assert "does not answer" in opened(alone, "/job/1")
    assert '"id": "rack"' in opened(alone, "/")


def test_the_curves_are_drawn_from_the_daemons(page: httpx.Client) -> None:
    """The callback behind the charts gives a figure, what stands beside it, and stops asking when the job is over."""

    def prop(of: str, name: str, value: Any = None) -> dict[str, Any]:
        return {"id": of, "property": name, "value": value}

    names = [
        ("curves", "figure"),
        ("beside", "children"),
        ("beneath", "children"),
        ("curves-said", "children"),
        ("job-tick", "disabled"),
        ("whole-s", "data"),
    ]
    body = {
        "output": f"..{'...'.join(f'{of}.{name}' for of, name in names)}..",
        "outputs": [{"id": of, "property": name} for of, name in names],
        "inputs": [prop("span", "data", [10.0, 20.0]), prop("job-tick", "n_intervals", 1)],
        "state": [prop("job-number", "data", 1)],
        "changedPropIds": ["span.data"],
    }
    said = page.post("/_dash-update-component", json=body).json()["response"]
    assert said["job-tick"]["disabled"] is True
    heat = next(t for t in said["curves"]["figure"]["data"] if t["name"] == "heatsink")
    assert min(heat["x"]) * 60 == pytest.approx(10.0, abs=1.0)
    assert max(heat["x"]) * 60 == pytest.approx(20.0, abs=1.0)


def test_jobs_stand_newest_first() -> None:
    """Whatever order the daemon gives."""
    rows = jobs.rows([job(1, at_s=0), job(3, at_s=200), job(2, at_s=100)])
    assert [row["job"] for row in rows] == [3, 2, 1]
    assert len({row["id"] for row in rows}) == 3


def test_an_empty_list_of_jobs_says_what_to_do_next() -> None:
    """Every empty page does."""
    assert "start one" in text(jobs.page([]))


def test_the_list_of_jobs_is_the_one_page_that_loads_the_grid(page: httpx.Client) -> None:
    """Its script is as large as all others together."""
    script = re.compile('src="[^"]*dash_ag_grid')
    assert script.search(page.get("/jobs").text)
    assert not any(script.search(page.get(path).text) for path in ("/", "/job/1", "/alerts", "/bay/bay-1"))


def test_a_verdict_is_a_word_and_a_shape_with_its_reasons() -> None:
    """Colour comes third."""
    for verdict in ("pass", "fail", "incomplete"):
        beside = " ".join(text(part) for part in job_page.aside(job(verdict=verdict)))
        assert f"shape-{verdict}" in beside
        assert f'"{verdict}"' in beside
        assert "Nothing was raised" in beside


def test_a_figure_that_is_not_known_is_a_dash() -> None:
    """Never a number that looks like one."""
    beneath = " ".join(text(part) for part in job_page.beneath(job()))
    assert "61.2\u00a0°C" in beneath
    assert '"rise"' in beneath
    assert '"–"' in beneath


def test_alerts_of_a_job_are_told_in_order_with_their_sentence() -> None:
    """The numbers are those of the marks in the charts."""
    beneath = " ".join(text(part) for part in job_page.beneath(job(tags=[tag(90.0, "trip", "trip"), tag(60.0)])))
    assert beneath.index("Heatsink 76.0 °C at 60") < beneath.index("Heatsink 76.0 °C at 90")
    assert "trip: unkeyed" in beneath


def test_a_job_shows_how_its_unit_was_set_up_and_never_whose_it_is() -> None:
    """Beside the curves, in brief; the page lies open on a bench, so no customer is on it."""
    booking = BookingView(
        booking=3,
        booked_ns=1,
        changed_ns=1,
        number="J-5",
        unit="MR-25 no. 014",
        customer="somebody",
        fitted=Fitted(type="type A", lot="lot 7"),
        device=[DeviceSetUp(bias_v=4.2, idle_a=0.25), DeviceSetUp()],
        before=Power(fm_w=10.0, meter="bench wattmeter"),
        after=Power(fm_w=25.0),
    )
    made = text(job_page.page(job(), curves(heatsink=[20.0]), booking))
    for word in ("Set-up", "type A, lot 7", "4.20\u00a0V", "0.250\u00a0A", "10.00\u00a0W", "25.00\u00a0W", "/book/3"):
        assert word in made, word
    assert "somebody" not in made
    assert "AM carrier" not in made
    assert "Set-up" not in text(job_page.page(job(), curves(heatsink=[20.0])))


def test_a_running_job_has_its_shelf_and_stays_fresh_and_a_finished_one_does_not() -> None:
    """The shelf carries the live figures, their age and the unkey of the bay; in which another unit may soak by now."""
    running, over = (text(job_page.page(job(verdict=verdict), curves(heatsink=[20.0]))) for verdict in (None, "pass"))
    assert '"data-bay": "bay-1"' in running
    assert '"disabled": false' in running
    assert '"data-bay"' not in over
    assert '"data-job": "1"' in running
    assert "/unkey" not in over


def test_the_form_of_a_soak_is_an_order_to_that_bay() -> None:
    """A name is quoted where it is part of an address."""
    made = text(bay.page("left bay"))
    assert '"action": "/bay/left%20bay/soak"' in made
    assert "dummy load" in made


def test_the_cautions_name_every_danger_and_defer_to_local_rules() -> None:
    """RF burns, hot metal, mains, fire, unlicensed emission."""
    made = text(about.page({"Keysoak": "0.1.0"}))
    for danger in ("RF burns", "Hot metal", "Mains", "Fire", "Unlicensed emission", "Local", "licensed"):
        assert danger in made


def test_the_rack_page_needs_no_plotly() -> None:
    """Its strips are drawn by a few hundred lines of our own."""
    assert "Graph" not in text(rack.page())
