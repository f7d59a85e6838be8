"""A detector's table: over the API and by the command, live, behind a verdict, and for a job computed anew."""

import json
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import msgspec
import pytest
from pydantic import ValidationError

from daemon.api.calibration_models import CalibrationOrder
from daemon.api.client import Client
from daemon.api.errors import ApiError
from daemon.calibration.certified import of_job
from daemon.calibration.judged import judge
from daemon.calibration.kept import Calibrations
from daemon.store.items import JobEnded, JobStarted
from daemon.store.reader import CATALOG
from sensors.recording import read
from sensors.rf import dbm_from_w
from sensors.types import FORWARD, NO_VOLTS, Frame, Quality
from tests.daemon.calibration_rig import RACK, Bench, keysoak

DETECTOR = """
[bay.channel.forward]
kind = "detector"
table = [[0.2, 30], [2.0, 50]]
"""
#: a diode where it is linear: power goes with the square of the volts, 1 W at 0.2 V
LINEAR = ((0.2, 30.0), (0.4, 36.0206), (0.8, 42.0412), (1.2, 45.5630))
DUE = date(2099, 1, 1)
MakeFrame = Callable[..., Frame]
MakeJob = Callable[..., JobStarted]


@pytest.fixture(params=[DETECTOR, ""], ids=["rack.toml has a table", "rack.toml has none"])
def bench(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Bench]:
    """A rack of one bay, whose node sends a detector's volts."""
    (tmp_path / "rack.toml").write_text(RACK.format(port=tmp_path / "port") + request.param)
    made = Bench(tmp_path)
    yield made
    made.close()


def order(*points: tuple[float, ...], **fields: object) -> CalibrationOrder:
    """A table of forward power from (V, dBm, own u in dB)."""
    return CalibrationOrder.model_validate(
        {
            "bay": "bay-1",
            "channel": "forward",
            "kind": "table",
            "points": [{"reading": v, "reference": p, "u": u[0] if u else 0.05} for v, p, *u in points],
            "reference": "bench power meter",
            "u_reference": 0.08,
            "due": DUE,
            **fields,
        }
    )


def test_a_table_values_the_detectors_volts_at_once_and_after_a_restart(bench: Bench, tmp_path: Path) -> None:
    """Whatever rack.toml says of the channel; the volts stay to be seen; what is outside is said, never valued."""
    with Client(bench.url) as client:
        before = bench.read(client, 0.4, "V")
        assert before.volts == 0.4
        assert before.calibration_id is None
        made = client.calibrate(order(*LINEAR, confirm=True))
        assert (made.line, made.points, len(made.table)) == (None, [], 4)
        reading = bench.read(client, 0.8, "V")
        assert reading.value == pytest.approx(16.0, abs=1e-3)
        assert (reading.raw, reading.raw_unit, reading.volts, reading.calibration_id) == (0.8, "V", 0.8, made.id)
        assert bench.read(client, 1.3, "V").quality == "outside"
        assert bench.read(client, 0.01, "V").quality == "below"
        assert bench.read(client, 20.0, "W").quality == "refused"
    bench.close()
    again = Bench(tmp_path)
    try:
        with Client(again.url) as client:
            assert again.read(client, 0.8, "V").value == pytest.approx(16.0, abs=1e-3)
    finally:
        bench.__dict__.update(again.__dict__)  # the fixture closes the one that runs


def test_a_node_that_sends_watts_gets_no_table(bench: Bench) -> None:
    """Its watts are not volts, however alike the figures look."""
    with Client(bench.url) as client:
        bench.read(client, 20.0, "W")
        with pytest.raises(ApiError, match="sends forward in W"):
            client.check_calibration(order(*LINEAR))


def test_a_table_that_changes_a_reading_by_much_asks_first(bench: Bench) -> None:
    """0.4 dB is 10 %: against what rack.toml's table makes of it; without one there is nothing that is changed."""
    with Client(bench.url) as client:
        bench.read(client, 0.4, "V")
        asks = client.check_calibration(order(*((v, p + 0.4) for v, p in LINEAR))).asks
        assert ("forward of bay-1 would change by 10%" in asks) is (bench.rack_file.read_text().endswith(DETECTOR))
        client.calibrate(order(*LINEAR, confirm=True))
        assert not client.check_calibration(order(*((v, p + 0.1) for v, p in LINEAR))).asks
        with pytest.raises(ApiError, match="then confirm"):
            client.calibrate(order(*((v, p + 0.4) for v, p in LINEAR)))


def test_a_line_after_a_table_is_drawn_through_what_rack_toml_reads(bench: Bench) -> None:
    """Points that the page showed by the table are reckoned back to volts, and by rack.toml to watts, if it can."""
    with Client(bench.url) as client:
        client.calibrate(order(*((v, p + 0.1) for v, p in LINEAR), confirm=True))
        shown = [bench.read(client, volts, "V").value or 0.0 for volts in (0.4, 0.8)]
        line = order((shown[0], 4.0, 0), (shown[1], 16.0, 0), kind="line", u_reference=0.1)
        if not bench.rack_file.read_text().endswith(DETECTOR):
            with pytest.raises(ApiError, match="calibrate it by a table again"):
                client.calibrate(line)
            return
        client.calibrate(line)
        assert bench.read(client, 0.8, "V").value == pytest.approx(16.0, abs=1e-3)


def test_the_command_takes_points_or_a_file_and_shows_the_table(bench: Bench, tmp_path: Path) -> None:
    """Watts for dBm too; a bad row is named by row and column."""
    api = ("--api", bench.url)
    given = ("bay-1", "forward", "--kind", "table", "--reference", "power meter", "--u", "0.08", *api)
    with Client(bench.url) as client:
        bench.read(client, 0.4, "V")
    assert "its detector 0.4 V" in keysoak("calibrate", "bay-1", "forward", *api).output
    looked = keysoak("calibrate", *given, "--point", "0.2=1W:0.05", "--point", "0.4=36.02dBm", "--check")
    assert "0.4 V → 36.02 dBm, 3.999 W, U 0.15 W (k = 2)" in looked.output
    file = tmp_path / "detector.csv"
    file.write_text("volts;dbm;u_db\n0,2;30;0,05\n0,4;36,02;\n\n0,8;x;0,05\n")
    bad = keysoak("calibrate", *given, "--points", file)
    assert "row 5, dbm: 'x' is no number" in str(bad.exception)
    file.write_text("# taken cold\nvolts,dbm,u_db\n0.2,30,0.05\n0.4,36.02,\n0.8,42.04,0.05\n")
    assert "calibration 1 of forward on bay-1 is in force" in keysoak("calibrate", *given, "--points", file).output
    assert "a table of 3 points from 1 to 16 W, U 0.69 W" in keysoak("calibrations", *api).output


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"channel": "drain-1"}, "draw a line"),
        ({"points": [{"reading": 0.0, "reference": 30}, {"reading": 0.4, "reference": 36}]}, "over 0 and up to 100 V"),
        ({"points": [{"reading": 0.2, "reference": 300}, {"reading": 0.4, "reference": 36}]}, "from -100 to 100"),
        ({"kind": "line"}, "has no u of its own"),
    ],
)
def test_an_order_that_can_be_no_table_is_refused(changed: dict[str, object], says: str) -> None:
    """Each by its field."""
    with pytest.raises(ValidationError, match=says):
        CalibrationOrder.model_validate(order(*LINEAR).model_dump() | changed)


def test_what_a_reader_must_know_of_a_table_is_said() -> None:
    """Its ends; a typing error that no diode makes; a bend that wants a point; two points."""
    told = judge(order(*LINEAR), None, DUE).said
    assert told == [
        "over 1.2 V (36 W) there is no reading, and under 0.2 V (1 W) it counts as no power: a table is never carried "
        "on beyond its ends"
    ]
    mistyped = judge(order((0.2, 30.0), (0.4, 63.0), (0.8, 64.0)), None, DUE).said
    assert any("from 0.2 V to 0.4 V the power rises by 110 dB a decade" in line for line in mistyped)
    bent = judge(order((0.001, -30.0), (0.06, -10.0), (3.08, 20.0)), None, DUE).said
    assert any("the table bends there: take a point between them" in line for line in bent)
    assert "take more" in judge(order(*LINEAR[:2]), None, DUE).said[-1]


def soaked(bench: Bench, frame_at: MakeFrame, job_at: MakeJob, calibrations: tuple[int, ...], volts: bool) -> None:
    """A soak of 60 s at 0.8 V, shown as 16 W; 1.3 V for its last seconds, over the first table's end."""
    plan = '[[phase]]\ndrive = "carrier"\nminutes = 1\n'
    started = msgspec.structs.replace(job_at(1), plan_text=plan, calibrations=calibrations)
    bench.store.put(started)
    for i in range(121):
        over = i >= 110
        frame = frame_at(i / 2, forward=None if over else 16.0, reflected=0.1, drain_1=3.0, ambient=None)
        quality = bytearray(frame.quality)
        quality[FORWARD] = Quality.OUTSIDE if over else Quality.GOOD
        given = (1.3 if over else 0.8, *NO_VOLTS[1:]) if volts else NO_VOLTS
        bench.store.put(msgspec.structs.replace(frame, quality=bytes(quality), volts=given))
    bench.store.put(JobEnded(1, started.started_ns + 60 * 10**9, "pass", [], {"forward_mean_w": 16.0}))
    bench.store.flush()


def test_a_job_is_computed_anew_by_a_longer_table_from_the_volts_that_were_kept(
    bench: Bench, frame_at: MakeFrame, job_at: MakeJob, tmp_path: Path
) -> None:
    """Also what the first table could not value; what is kept stays as it was."""
    with Client(bench.url) as client:
        bench.read(client, 0.4, "V")
        first = client.calibrate(order(*LINEAR, confirm=True))
        soaked(bench, frame_at, job_at, (first.id,), volts=True)
        client.calibrate(order(*((v, p + 0.1) for v, p in LINEAR), (1.5, dbm_from_w(1.5**2 / 0.04) + 0.1)))
    out = tmp_path / "anew.senml"
    done = keysoak("recompute", 1, out, "--rack", bench.rack_file)
    assert done.output.splitlines()[0] == "forward: calibration 2 in place of calibration 1"
    frames = list(read(out))
    assert frames[40].values[FORWARD] == pytest.approx(16.0 * 10**0.01, rel=1e-4)
    assert frames[115].values[FORWARD] == pytest.approx(1.3**2 / 0.04 * 10**0.01, rel=1e-3)
    assert frames[115].quality[FORWARD] == Quality.GOOD
    assert json.loads(done.output.splitlines()[-1])["figures"]["forward_mean_w"] > 17.0
    kept = list(bench.store.job_frames(1))
    assert (kept[40].values[FORWARD], kept[115].quality[FORWARD]) == (16.0, Quality.OUTSIDE)
    assert kept[115].volts[0] == 1.3


def test_a_job_without_volts_is_reckoned_back_from_its_table_or_refused(
    bench: Bench, frame_at: MakeFrame, job_at: MakeJob, tmp_path: Path
) -> None:
    """A table runs both ways within its ends; watts of no table can't be put into one."""
    with Client(bench.url) as client:
        bench.read(client, 0.4, "V")
        first = client.calibrate(order(*LINEAR, confirm=True))
        soaked(bench, frame_at, job_at, (first.id,), volts=False)
        client.calibrate(order(*((v, p + 0.1) for v, p in LINEAR)))
    out = tmp_path / "anew.senml"
    keysoak("recompute", 1, out, "--rack", bench.rack_file)
    assert list(read(out))[40].values[FORWARD] == pytest.approx(16.0 * 10**0.01, rel=1e-4)
    soaked(bench, frame_at, lambda number: msgspec.structs.replace(job_at(2), calibrations=()), (), volts=False)
    bench.store.put(msgspec.structs.replace(job_at(2, at_s=100), calibrations=()))
    bench.store.put(frame_at(100.5, forward=16.0))
    bench.store.put(JobEnded(2, job_at(2, at_s=160).started_ns, "pass", [], {}))
    bench.store.flush()
    refused = keysoak("recompute", 2, tmp_path / "no.senml", "--rack", bench.rack_file)
    assert "kept in W, without a detector's volts" in str(refused.exception)


def test_the_certificate_names_the_table_with_u_at_the_figure(
    bench: Bench, frame_at: MakeFrame, job_at: MakeJob
) -> None:
    """16 W is a point of the table: u is the hypotenuse of 0.05 and 0.08 dB, each dB 23 %."""
    with Client(bench.url) as client:
        bench.read(client, 0.4, "V")
        first = client.calibrate(order(*LINEAR, confirm=True))
        soaked(bench, frame_at, job_at, (first.id,), volts=True)
    (named,) = of_job(Calibrations(bench.config.rack.data / CATALOG), bench.store.job(1))
    assert named.expanded == pytest.approx(2 * 16.0 * 0.230259 * 0.094340, rel=1e-4)
