"""Each fault shows in the radio what its name says, and a spec that asks for nonsense is refused by field."""

import math
from pathlib import Path

import pytest

from sensors.twin.batch import draw
from sensors.twin.errors import SpecRefused
from sensors.twin.faults import Condition, CurrentHog, FaultBase
from sensors.twin.model import Radio
from sensors.twin.senses import OPEN_C, SHORT_C, Senses
from sensors.twin.spec import UnitSpec, load
from sensors.types import Drive


def unit(kind: str, **fields: object) -> UnitSpec:
    return UnitSpec.model_validate(
        {
            "bay": "bay-1",
            "seed": 5,
            "thermal_scale": 0.15,
            "extras": ["case", "bias"],
            "fault": [{"kind": kind, **fields}],
        }
    )


class Bench:
    """A keyed radio with its senses, with and without the fault of a spec."""

    def __init__(self, spec: UnitSpec, drive: Drive = Drive.CARRIER) -> None:
        self.radio = Radio(draw(spec))
        self.radio.key, self.radio.drive = True, drive
        self.senses = Senses(spec, self.radio.build)
        self.faults: tuple[FaultBase, ...] = spec.fault
        self.clock_s = 0.0

    def run(self, seconds: float) -> dict[str, float | bool]:
        for _ in range(round(seconds * 2)):
            self.clock_s += 0.5
            condition = Condition()
            for fault in self.faults:
                strength = fault.strength(self.clock_s, self.clock_s)
                if strength > 0.0:
                    fault.work(condition, strength)
            self.radio.condition = condition
            self.radio.step(0.5)
            readings = self.senses.read(self.radio, 0.5)
        return {name: value for name, _, value in readings}


def test_a_fault_grows_from_onset_over_its_ramp() -> None:
    """Nothing before the onset, half of it half-way up the ramp, all of it after."""
    fault = CurrentHog(kind="current-hog", at_s=60.0, ramp_s=100.0)
    assert [fault.strength(t, 0.0) for t in (59.9, 110.0, 160.0, 1e6)] == [0.0, 0.5, 1.0, 1.0]
    keyed = CurrentHog(kind="current-hog", at_s=60.0, counts="key-down")
    assert [keyed.strength(1e6, t) for t in (0.0, 60.0)] == [0.0, 1.0]


def test_current_hog_passes_the_imbalance_limit_in_some_minutes() -> None:
    """The demo's hog is within 15 % after two minutes and over 25 % after six, with all else within limits."""
    bench = Bench(unit("current-hog", at_s=60.0, ramp_s=480.0))

    def spread(r: dict[str, float | bool]) -> float:
        return (r["drain-1"] - r["drain-2"]) / ((r["drain-1"] + r["drain-2"]) / 2)

    assert spread(bench.run(120.0)) < 0.15
    readings = bench.run(300.0)
    assert spread(readings) > 0.25
    assert readings["heatsink"] < 70.0
    assert readings["drain-1"] < 5.0


def test_bad_load_passes_swr_two_in_some_minutes() -> None:
    """The demo's load is at SWR under 1.5 after two minutes and over 2 after eight; the radio stays within limits."""
    bench = Bench(unit("bad-load", at_s=60.0, ramp_s=480.0))

    def swr(r: dict[str, float | bool]) -> float:
        gamma = math.sqrt(r["reflected"] / r["forward"])
        return (1 + gamma) / (1 - gamma)

    assert swr(bench.run(120.0)) < 1.5
    readings = bench.run(360.0)
    assert swr(readings) > 2.0
    assert readings["heatsink"] < 70.0


@pytest.mark.parametrize(
    ("kind", "channel", "low", "high"),
    [
        ("dry-pad", "case-1", 75.0, 110.0),
        ("fan-stop", "heatsink", 70.0, 100.0),
        ("fading-driver", "forward", 8.0, 15.0),
        ("sagging-supply", "supply", 10.0, 12.4),
        ("thermal-runaway", "heatsink", 75.0, 130.0),
        ("open-device", "drain-1", -0.1, 0.1),
        ("shorted-device", "drain-1", 8.0, 14.0),
        ("detached-sensor", "heatsink", 20.0, 32.0),
        ("open-sensor", "heatsink", OPEN_C, OPEN_C),
        ("shorted-sensor", "heatsink", SHORT_C, SHORT_C),
    ],
)
def test_each_fault_shows_where_its_name_says(kind: str, channel: str, low: float, high: float) -> None:
    """A sound unit's reading is outside the band that the faulty unit's worst reading falls into."""
    sound = Bench(unit(kind, at_s=1e9))
    faulty = Bench(unit(kind, at_s=60.0))
    healthy, worst = sound.run(60.0)[channel], faulty.run(60.0)[channel]
    for _ in range(30):
        reading = faulty.run(10.0)[channel]
        worst = max(worst, reading, key=lambda value: abs(value - healthy))
        if kind in {"shorted-device", "thermal-runaway"} and low <= worst <= high:
            break
    settled = sound.run(300.0)[channel]
    assert low <= worst <= high
    assert not low <= settled <= high


def test_bias_creep_shows_in_the_bias_and_in_the_idle_current() -> None:
    """The bias supply's drift is in every device's bias, volt for volt, and lifts the idle current with it."""
    sound = Bench(unit("bias-creep", at_s=1e9), Drive.IDLE).run(300.0)
    crept = Bench(unit("bias-creep", at_s=60.0), Drive.IDLE).run(300.0)
    for i in (1, 2):
        # The heatsink is warmer for it, and the bias follows that down by 3.3 mV/K.
        assert 0.03 < crept[f"bias-{i}"] - sound[f"bias-{i}"] <= 0.1
        assert crept[f"drain-{i}"] > 1.3 * sound[f"drain-{i}"]


def test_stuck_sensor_tells_one_value_to_the_last_digit() -> None:
    """From its onset on a stuck sensor repeats itself while the heatsink goes on warming."""
    bench = Bench(unit("stuck-sensor", at_s=30.0))
    told = {bench.run(0.5)["heatsink"] for _ in range(50)}
    assert len(told) > 10
    bench.run(10.0)
    assert len({bench.run(0.5)["heatsink"] for _ in range(50)}) == 1
    assert bench.radio.sink_c > bench.senses.read(bench.radio, 0.5)[0][2] + 3.0


def test_a_stuck_key_holds_only_once_the_contact_has_closed() -> None:
    """An unkeyed radio stays unkeyed; once keyed it stays keyed, and only the relay takes the current away."""
    bench = Bench(unit("stuck-key"))
    bench.radio.key = False
    assert bench.run(2.0)["forward"] < 0.1
    bench.radio.key = True
    bench.run(2.0)
    bench.radio.key = False
    still = bench.run(2.0)
    assert still["forward"] > 20.0
    bench.radio.relay_open = True
    cut = bench.run(2.0)
    assert cut["forward"] < 0.1
    assert cut["drain-1"] < 0.05
    assert cut["supply"] < 0.1


def test_a_sound_radio_passes_no_current_unkeyed() -> None:
    """Key off: no current, no power, no bias, the supply at rest."""
    bench = Bench(unit("fan-stop", at_s=1e9))
    bench.radio.key = False
    readings = bench.run(5.0)
    assert abs(readings["drain-1"]) < 0.05
    assert readings["forward"] < 0.1
    assert readings["bias-1"] == pytest.approx(0.0, abs=0.01)
    assert readings["supply"] == pytest.approx(13.8, abs=0.15)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "unit"),
        ("[[unit]]\nbay = 'b'\nrate = 2", "unit.0.rate"),
        ("[[unit]]\nbay = 'b'\nrate_hz = -2", "unit.0.rate_hz"),
        ("[[unit]]\nbay = 'b'\n[[unit]]\nbay = 'b'", "bay b is used by two units"),
        ("[[unit]]\nbay = 'b'\n[[unit.fault]]\nkind = 'gremlin'", "unit.0.fault.0"),
        ("[[unit]]\nbay = 'b'\n[[unit.fault]]\nkind = 'dry-pad'\ndevice = 3", "there are 2"),
        ("[[unit]\n", "not TOML"),
    ],
)
def test_a_broken_spec_is_refused_by_file_and_field(tmp_path: Path, text: str, says: str) -> None:
    """The error names the file and what is wrong where."""
    path = tmp_path / "twin.toml"
    path.write_text(text)
    with pytest.raises(SpecRefused) as refusal:
        load(path)
    assert says in refusal.value.why
    assert str(path) in str(refusal.value)


def test_a_missing_spec_is_refused_by_file(tmp_path: Path) -> None:
    """No file: the error says so."""
    with pytest.raises(SpecRefused, match="No such file"):
        load(tmp_path / "none.toml")
