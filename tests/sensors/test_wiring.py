"""The tables of rack.toml: what each makes of a record, and what it says when it is wrong."""

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from sensors import ntc, platinum
from sensors.errors import ConversionUnfit
from sensors.twin import raw
from sensors.types import CHANNELS, UNITS, Quality
from sensors.wiring import Conversion, must_fit, plain, plain_hint

ADAPTER: TypeAdapter[Any] = TypeAdapter(Conversion)
patient = settings(deadline=None)

NTC = {"kind": "ntc-beta", "beta_k": 3950, "r0_ohm": 10_000, "reference_ohm": 10_000}
STEINHART = {"kind": "ntc-steinhart-hart", "a": 1.4e-3, "b": 2.37e-4, "c": 9.9e-8, "reference_ohm": 3300}
POINTS = {"kind": "ntc-steinhart-hart", "points": [[0, 10030.2176], [25, 3067.5001], [50, 1103.5474]]}
TABLE = {"kind": "ntc-table", "table": [[0, 33620.6], [25, 10000], [50, 3588.18], [85, 1086.67]]}
PT = {"kind": "platinum", "r0_ohm": 1000, "reference_ohm": 1500, "side": "supply", "supply_v": 3.3}
LINE = {"kind": "line", "raw": "V", "gives": "V", "span": 11}
SHUNT = {"kind": "shunt", "shunt_ohm": 0.01, "gain": 40, "zero_v": 0.1, "low_v": 0.02, "high_v": 3.2}
HALL = {"kind": "hall", "ratio_per_a": 0.02}
DETECTOR = {"kind": "detector", "table": [[0.02, 10], [0.45, 30], [5.2, 50]]}
EVERY = [NTC, STEINHART, POINTS, TABLE, PT, LINE, SHUNT, HALL, DETECTOR]


def make(table: dict[str, Any]) -> Any:
    """The model of a table as rack.toml has it."""
    return ADAPTER.validate_python(table)


@pytest.mark.parametrize("table", EVERY, ids=lambda t: str(t["kind"]))
@patient
@given(value=st.floats(), unit=st.sampled_from(["/", "Ohm", "V", "A", "Cel", "W", "", "%", "mV", "kg"]))
def test_any_record_gives_a_finite_good_value_or_nan_with_its_reason(
    table: dict[str, Any], value: float, unit: str
) -> None:
    """Whatever number in whatever unit: GOOD and finite, or nan and not GOOD; and no exception."""
    out, quality = make(table).build()(value, unit)
    assert math.isfinite(out) if quality is Quality.GOOD else math.isnan(out)


@pytest.mark.parametrize(
    ("table", "value", "unit", "reading"),
    [
        (NTC, 0.5, "/", 25.0),
        (NTC, 3588.182582, "Ohm", 50.0),
        (STEINHART, 3833.3275927458376, "Ohm", 20.0),
        (POINTS, 3833.3276, "Ohm", 20.0),
        (TABLE, 3588.18, "Ohm", 50.0),
        (PT, 1385.055, "Ohm", 100.0),
        (PT, 1500.0 / 2885.055, "/", 100.0),
        (PT, 3.3 * 1500.0 / 2885.055, "V", 100.0),
        ({"kind": "platinum"}, 80.306282, "Ohm", -50.0),
        (LINE, 1.25, "V", 13.75),
        (SHUNT, 0.9, "V", 2.0),
        (HALL, 0.56, "/", 3.0),
        (DETECTOR, 0.45, "V", 1.0),
    ],
)
def test_raw_records_become_engineering_units(table: dict[str, Any], value: float, unit: str, reading: float) -> None:
    """Each kind converts what its node sends."""
    assert make(table).build()(value, unit) == (pytest.approx(reading, abs=1e-4), Quality.GOOD)


@pytest.mark.parametrize("table", [t for t in EVERY if t is not LINE], ids=lambda t: str(t["kind"]))
def test_an_engineering_value_passes_through(table: dict[str, Any]) -> None:
    """A record that the node has converted already is taken as it is."""
    model = make(table)
    assert model.build()(41.25, model.engineering_unit()) == (41.25, Quality.GOOD)


@pytest.mark.parametrize("table", EVERY, ids=lambda t: str(t["kind"]))
@pytest.mark.parametrize("unit", ["kg", "", "%", "K"])
def test_a_wrong_unit_is_refused(table: dict[str, Any], unit: str) -> None:
    """A unit that the channel does not take, the ambiguous percent sign among them, or none at all."""
    assert make(table).build()(0.5, unit)[1] is Quality.REFUSED


@patient
@given(st.floats(-25.0, 145.0), st.sampled_from(["ground", "supply"]))
def test_both_divider_sides_read_the_same_temperature(celsius: float, side: ntc.Side) -> None:
    """A thermistor to ground and one to supply differ in their ratio and not in their reading."""
    ratio = ntc.ratio_from_ohm(ntc.beta_ohm(celsius, 10_000.0, 3950.0), 10_000.0, side)
    assert make({**NTC, "side": side}).build()(ratio, "/") == (pytest.approx(celsius, abs=1e-6), Quality.GOOD)


@pytest.mark.parametrize(
    ("side", "ratio", "quality"),
    [
        ("ground", 0.9998, Quality.OPEN),
        ("ground", 1.01, Quality.OPEN),
        ("ground", 0.0002, Quality.SHORT),
        ("ground", -0.01, Quality.SHORT),
        ("supply", 0.9998, Quality.SHORT),
        ("supply", 0.0002, Quality.OPEN),
        ("supply", 0.0, Quality.OPEN),
        ("ground", 0.015, Quality.OUTSIDE),
        ("ground", 0.97, Quality.OUTSIDE),
    ],
)
def test_a_broken_thermistor_is_no_temperature(side: str, ratio: float, quality: Quality) -> None:
    """Near a rail it is open or shorted, by its side; between rail and range it is outside."""
    assert make({**NTC, "side": side}).build()(ratio, "/")[1] is quality


@pytest.mark.parametrize(
    ("ohm", "quality"), [(1.0, Quality.SHORT), (1e6, Quality.OPEN), (15.0, Quality.OUTSIDE), (420.0, Quality.OUTSIDE)]
)
def test_a_broken_platinum_sensor_is_no_temperature(ohm: float, quality: Quality) -> None:
    """Ten times beyond the range it is open or shorted; nearer it is outside."""
    assert make({"kind": "platinum"}).build()(ohm, "Ohm")[1] is quality


def test_the_rail_tells_a_short_sooner_than_the_resistance() -> None:
    """With a large reference resistor a short with some resistance of its own still lies at the rail."""
    table = {**NTC, "reference_ohm": 30_000}
    assert make(table).build()(0.0015, "/")[1] is Quality.SHORT
    assert make(table).build()(0.0030, "/")[1] is Quality.OUTSIDE


def test_platinum_reads_its_whole_range() -> None:
    """From -200 to 850 C, ends included."""
    read = make({"kind": "platinum"}).build()
    for celsius in (platinum.LOW_C, 0.0, platinum.HIGH_C):
        assert read(platinum.ohm(celsius), "Ohm") == (pytest.approx(celsius, abs=1e-9), Quality.GOOD)


def test_self_heating_is_taken_off() -> None:
    """At 25 C with 1.65 V across 10 kohm and 2 mW/K the reading is 0.136 K lower."""
    heated = make({**NTC, "supply_v": 3.3, "dissipation_w_per_k": 0.002}).build()
    assert heated(0.5, "/")[0] == pytest.approx(25.0 - 0.136125)
    assert heated(10_000.0, "Ohm")[0] == pytest.approx(25.0 - 0.136125)


@pytest.mark.parametrize(
    ("volts", "quality"),
    [(0.019, Quality.BELOW), (0.0, Quality.BELOW), (-0.003, Quality.BELOW), (5.3, Quality.OUTSIDE)],
)
def test_a_detector_is_never_extrapolated(volts: float, quality: Quality) -> None:
    """Under its table it is BELOW, over it OUTSIDE; neither has a power."""
    assert make(DETECTOR).build()(volts, "V")[1] is quality


@pytest.mark.parametrize(("volts", "ok"), [(0.01, False), (0.02, True), (3.2, True), (3.21, False)])
def test_an_amplifier_at_its_rail_is_outside(volts: float, ok: bool) -> None:
    """A shunt's amplifier without supply, or driven to its rail, tells no current."""
    assert (make(SHUNT).build()(volts, "V")[1] is Quality.GOOD) is ok


def test_a_product_that_no_double_holds_is_outside() -> None:
    """A huge number in a pack becomes no infinite reading."""
    assert make(LINE).build()(1e308, "V")[1] is Quality.OUTSIDE


@patient
@given(st.floats(-20.0, 140.0), st.floats(0.0, 5.0), st.floats(0.02, 99.0))
def test_the_twins_raw_senses_are_read_back(celsius: float, ampere: float, watt: float) -> None:
    """What the twin sends as ratio and volts, its own published wiring turns into what it meant."""
    assert make(NTC).build()(raw.ntc_ratio(celsius), "/") == (pytest.approx(celsius, abs=1e-6), Quality.GOOD)
    current = {"kind": "line", "gives": "A", "zero": raw.CURRENT_ZERO_V, "span": 1 / raw.CURRENT_V_PER_A}
    assert make(current).build()(raw.current_v(ampere), "V") == (pytest.approx(ampere, abs=1e-9), Quality.GOOD)
    power = make({"kind": "detector", "table": raw.detector_table()}).build()
    assert power(raw.detector_v(watt), "V") == (pytest.approx(watt, rel=0.005), Quality.GOOD)
    assert power(raw.DETECTOR_FLOOR_V, "V")[1] is Quality.BELOW


@pytest.mark.parametrize(("ratio", "ok"), [(0.01, False), (0.05, True), (0.99, False)])
def test_a_hall_sensor_at_its_rail_is_outside(ratio: float, ok: bool) -> None:
    """A Hall sensor whose output wire is off, or that is driven to its rail, tells no current."""
    assert (make(HALL).build()(ratio, "/")[1] is Quality.GOOD) is ok


@pytest.mark.parametrize(
    ("table", "named"),
    [
        ({"kind": "ntc-beta", "r0_ohm": 10_000}, "beta_k"),
        ({**NTC, "beta_k": -1}, "beta_k"),
        ({**NTC, "r0_ohm": "ten"}, "r0_ohm"),
        ({**NTC, "r0_ohm": math.nan}, "r0_ohm"),
        ({**NTC, "betak": 1}, "betak"),
        ({**NTC, "side": "left"}, "side"),
        ({**NTC, "reference_ohm": 1e7}, "reference_ohm"),
        ({**NTC, "low_c": 160}, "low_c"),
        ({**NTC, "dissipation_w_per_k": 0.002}, "dissipation_w_per_k"),
        ({"kind": "platinum", "supply_v": 3.3}, "supply_v"),
        ({"kind": "ntc-steinhart-hart", "a": 1e-3}, "a, b, c"),
        ({**STEINHART, "b": -1e-4}, "a, b, c"),
        ({**POINTS, "a": 1e-3}, "points"),
        ({"kind": "ntc-steinhart-hart", "points": [[0, 1], [25, 2], [50, 3]]}, "points"),
        ({"kind": "ntc-table", "table": [[0, 1000], [10, 2000]]}, "table"),
        ({**LINE, "span": 0}, "span"),
        ({**LINE, "low": 2, "high": 1}, "low"),
        ({**SHUNT, "shunt_ohm": 0}, "shunt_ohm"),
        ({**SHUNT, "zero_v": 5}, "zero_v"),
        ({**HALL, "ratio_per_a": 0}, "ratio_per_a"),
        ({**HALL, "zero_ratio": 0.001}, "zero_ratio"),
        ({"kind": "detector", "table": [[0.1, 10]]}, "table"),
        ({"kind": "detector", "table": [[0.1, 20], [0.2, 10]]}, "table"),
        ({"kind": "detector", "table": [[0.1, 20], [0.2, 1e300]]}, "table"),
        ({"kind": "thermocouple"}, "kind"),
        ({"beta_k": 3950}, "kind"),
    ],
)
def test_an_error_names_the_field(table: dict[str, Any], named: str) -> None:
    """What is missing, misspelled, out of bounds or at odds with another field is named."""
    with pytest.raises(ValidationError) as broken:
        make(table)
    (error,) = broken.value.errors()
    assert named in ".".join(map(str, error["loc"])) or named in error["msg"]


@pytest.mark.parametrize("channel", CHANNELS)
def test_a_plain_channel_takes_its_own_unit_only(channel: str) -> None:
    """Without a table a channel takes its engineering unit; anything else is refused."""
    convert = plain(channel)
    assert convert(1.0, UNITS[channel]) == (1.0, Quality.GOOD)
    assert convert(math.inf, UNITS[channel])[1] is Quality.REFUSED
    if UNITS[channel] != "boolean":
        assert convert(1.0, "Ohm")[1] is Quality.REFUSED
        assert convert(1.0, "")[1] is Quality.REFUSED


def test_a_plain_boolean_is_yes_or_no_whatever_the_packs_base_unit() -> None:
    """RFC 8428 gives a boolean record the pack's base unit too; its value is 0 or 1."""
    assert plain("key")(True, "W") == (1.0, Quality.GOOD)
    assert plain("key")(0.0, "") == (0.0, Quality.GOOD)
    assert plain("key")(0.5, "")[1] is Quality.REFUSED


@pytest.mark.parametrize("channel", ["drain-1", "key", "forward"])
def test_a_conversion_must_give_its_channels_unit(channel: str) -> None:
    """A thermistor is no current, no key and no power."""
    with pytest.raises(ConversionUnfit):
        must_fit(channel, make(NTC))
    must_fit("heatsink", make(NTC))


@pytest.mark.parametrize("table", EVERY, ids=lambda t: str(t["kind"]))
def test_every_fault_has_a_hint_and_a_good_reading_none(table: dict[str, Any]) -> None:
    """Whatever quality but GOOD: a sentence on what to look at."""
    model = make(table)
    for quality in Quality:
        assert bool(model.wire_hint(quality)) is (quality is not Quality.GOOD)
        assert bool(plain_hint("supply", quality)) is (quality is not Quality.GOOD)


def test_an_open_thermistors_hint_names_its_wires() -> None:
    """The person at the bench is told which wires, and which unit."""
    hint = "no current flows: look at the thermistor's two wires and the reference resistor"
    assert make(NTC).wire_hint(Quality.OPEN) == hint
    assert "'/' or 'Ohm' or 'Cel'" in make(NTC).wire_hint(Quality.REFUSED)
