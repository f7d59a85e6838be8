"""Calibrating over the API and by the command: a real line, readings that change at once, a job computed anew."""

import json
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import httpx
import msgspec
import pytest

from daemon.api.calibration_models import CalibrationOrder
from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.api.models import SoakOrder
from daemon.calibration.certified import of_job
from daemon.calibration.kept import Calibrations
from daemon.certificate.facts import Workshop
from daemon.certificate.gather import gather
from daemon.certificate.sheet import words
from daemon.store.items import JobEnded, JobStarted
from daemon.store.reader import CATALOG
from sensors.recording import read
from sensors.types import FORWARD, HEATSINK, Frame
from tests.daemon.calibration_rig import RACK, Bench, keysoak

PLAN = '[[phase]]\ndrive = "off"\nminutes = 1\n'
GIVEN = ("bay-1", "forward", "--reference", "bench wattmeter", "--u", "0.1")
MakeFrame = Callable[..., Frame]
MakeJob = Callable[..., JobStarted]


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A rack of one bay."""
    (tmp_path / "rack.toml").write_text(RACK.format(port=tmp_path / "port"))
    made = Bench(tmp_path)
    yield made
    made.close()


def order(*points: tuple[float, float], **fields: object) -> CalibrationOrder:
    """An order for forward power."""
    return CalibrationOrder.model_validate(
        {
            "bay": "bay-1",
            "channel": "forward",
            "points": [{"reading": a, "reference": b} for a, b in points],
            "reference": "bench wattmeter",
            "u_reference": 0.1,
            **fields,
        }
    )


def test_a_calibration_corrects_readings_at_once_and_after_a_restart(bench: Bench, tmp_path: Path) -> None:
    """No restart is needed, and one loses nothing; the reading without correction stays to be seen."""
    with Client(bench.url) as client:
        assert bench.read(client, 20.0).calibration_id is None
        made = client.calibrate(order((10, 10.2), (20, 20.4), (30, 30.6), due=date(2025, 6, 30)))
        reading = bench.read(client, 20.0)
        assert (reading.value, reading.raw, reading.calibration_id) == (20.4, 20.0, made.id)
        assert reading.calibration == "past due since 2025-06-30" == made.past_due
        assert client.bay("bay-1").past_due == ["forward"]
        assert client.rack().bays[0].past_due == ["forward"]
        assert client.calibrations("bay-1", "forward")[0].in_force
        assert client.calibrations("bay-1", "supply") == []
    bench.close()
    again = Bench(tmp_path)
    try:
        with Client(again.url) as client:
            assert again.read(client, 20.0).value == 20.4
    finally:
        bench.__dict__.update(again.__dict__)  # the fixture closes the one that runs


def test_a_change_of_much_wants_to_be_confirmed(bench: Bench) -> None:
    """409 with the sentence; nothing is kept until it is confirmed."""
    with Client(bench.url) as client:
        much = order((10, 11.0), (20, 22.0))
        with pytest.raises(ApiError, match="10 W becomes 11 W") as caught:
            client.calibrate(much)
        assert caught.value.status == 409
        assert client.calibrations() == []
        assert client.check_calibration(much).asks == caught.value.why
        client.calibrate(much.model_copy(update={"confirm": True}))
        assert bench.read(client, 20.0).value == 22.0


def test_not_while_the_bay_soaks(bench: Bench) -> None:
    """A step in a soak's readings would be no finding of the radio's; the soak's job names what was in force."""
    with Client(bench.url) as client:
        first = client.calibrate(order((10, 10.2), (20, 20.4)))
        bench.read(client, 20.0)
        client.soak("bay-1", SoakOrder(plan=PLAN))
        with pytest.raises(ApiError, match="bay-1 is soaking") as caught:
            client.calibrate(order((10, 10.1), (20, 20.1)))
        assert caught.value.status == 409
        assert bench.read(client, 20.0).value == 20.4
        assert [one.id for one in client.calibrations()] == [first.id]
        client.unkey("bay-1")
        bench.store.flush()
        assert bench.store.job(1).calibrations == [first.id]
        client.calibrate(order((10, 10.1), (20, 20.1)))


def test_a_wrong_order_says_what_is_wrong(bench: Bench) -> None:
    """404 for a bay that is not there, 422 for a field, 403 for the page of another site."""
    with Client(bench.url) as client:
        with pytest.raises(ApiError, match="no bay") as caught:
            client.calibrate(order((10, 10.1), (20, 20.1), bay="bay-9"))
        assert caught.value.status == 404
    sent = order((10, 10.1), (20, 20.1)).model_dump(mode="json")
    to = f"{bench.url}/v1/calibrations"
    assert httpx.post(to, json=sent | {"channel": "cut"}).status_code == 422
    assert httpx.post(to, json=sent, headers={"origin": "http://elsewhere.example"}).status_code == 403
    assert httpx.get(to).json() == []


def test_the_command_shows_residuals_asks_and_lists(bench: Bench) -> None:
    """The way of a person at the bench."""
    api = ("--api", bench.url)
    with Client(bench.url) as client:
        bench.read(client, 20.0)
    assert "20 W, not calibrated" in keysoak("calibrate", "bay-1", "forward", *api).output
    much = ("calibrate", *GIVEN, "--point", "10=11", "--point", "20=22", *api)
    asked = keysoak(*much, put="n\n")
    assert asked.exit_code == 1
    assert "becomes" in asked.output
    assert "two points" in asked.output
    assert "no calibration is kept" in keysoak("calibrations", *api).output
    assert "is in force, due 2099-01-01" in keysoak(*much, "--yes", "--due", "2099-01-01", "--who", "Ann").output
    looked = keysoak("calibrate", *GIVEN, "--point", "11=11", "--point", "22=22", "--point=33=33", "--check", *api)
    assert looked.output.count("residual") == 3
    with Client(bench.url) as client:
        bench.read(client, 20.0)
    assert "22 W, 20 W before the correction of calibration 1" in keysoak("calibrate", "bay-1", "forward", *api).output
    keysoak("calibrate", *GIVEN, "--point", "11=11", "--point", "22=22.2", *api)
    listed = keysoak("calibrations", "bay-1", *api).output.splitlines()
    assert listed[0].endswith("in force")
    assert listed[1].endswith("superseded")
    assert "by Ann" in listed[1]


@pytest.mark.parametrize("point", ["10", "10=", "a=b", "nan=1"])
def test_a_point_that_is_none_is_refused_before_anyone_is_asked(bench: Bench, point: str) -> None:
    """With what one looks like."""
    said = keysoak("calibrate", *GIVEN, "--point", point, "--point", "20=20", "--api", bench.url)
    assert "is no point" in str(said.exception)


def soaked(bench: Bench, frame_at: MakeFrame, job_at: MakeJob, calibrations: tuple[int, ...]) -> None:
    """Keep a soak of 60 s at 20 W shown."""
    started = msgspec.structs.replace(
        job_at(1), plan_text='[[phase]]\ndrive = "carrier"\nminutes = 1\n', calibrations=calibrations
    )
    bench.store.put(started)
    for i in range(121):
        bench.store.put(frame_at(i / 2, forward=20.0 + i / 100, reflected=0.1, drain_1=3.0, ambient=None))
    bench.store.put(JobEnded(1, started.started_ns + 60 * 10**9, "pass", [], {"forward_mean_w": 20.6}))
    bench.store.flush()


def test_a_job_is_computed_anew_and_says_so(bench: Bench, frame_at: MakeFrame, job_at: MakeJob, tmp_path: Path) -> None:
    """The old correction is taken away and the new one made; what is kept stays; the verdict follows."""
    with Client(bench.url) as client:
        first = client.calibrate(order((10, 10.2), (20, 20.4)))
        soaked(bench, frame_at, job_at, (first.id,))
        out = tmp_path / "anew.senml.zst"
        nothing = keysoak("recompute", 1, out, "--rack", bench.rack_file)
        assert "nothing to change" in str(nothing.exception)
        client.calibrate(order((10, 10.0), (20, 20.0), as_shown=False))
    done = keysoak("recompute", 1, out, "--rack", bench.rack_file)
    lines = done.output.splitlines()
    assert lines[0] == "forward: calibration 2 in place of calibration 1"
    assert "121 readings of job 1, computed anew; what is kept of it is as it was: pass" in lines[1]
    verdict = json.loads(lines[-1])
    assert verdict["figures"]["forward_mean_w"] == pytest.approx(20.6 / 1.02, abs=0.02)
    frames = list(read(out))
    assert frames[40].values[FORWARD] == pytest.approx(20.4 / 1.02)
    assert frames[40].values[HEATSINK] == 22.0
    assert bench.store.job(1).figures == {"forward_mean_w": 20.6}
    assert next(bench.store.job_frames(1)).values[FORWARD] == 20.0


def test_the_certificate_names_the_calibrations_behind_a_job(
    bench: Bench, frame_at: MakeFrame, job_at: MakeJob
) -> None:
    """Those that were in force at its start, with U at the figure, though another is in force by now."""
    with Client(bench.url) as client:
        first = client.calibrate(order((10, 10.2), (20, 20.4), due=date(2025, 6, 30)))
        soaked(bench, frame_at, job_at, (first.id,))
        client.calibrate(order((10, 10.2), (20, 20.4)))
    assert bench.store.job(1).calibrated_since == {"forward": 2}
    said = words(gather(bench.store, None, 1, Workshop())).calibrations_say
    assert "Calibrated since, and not in these figures: forward (2)." in said
    (named,) = of_job(Calibrations(bench.config.rack.data / CATALOG), bench.store.job(1))
    assert (named.id, named.channel, named.due) == (str(first.id), "forward", date(2025, 6, 30))
    assert named.expanded == pytest.approx(0.2)
