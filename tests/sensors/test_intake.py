"""The intake: one Frame a bay an instant, every drop counted, and nothing raised for a bad pack."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.intake import Intake
from sensors.senml import encode
from sensors.types import CHANNELS, FORWARD, INDEX, REFLECTED, UNITS, Frame, LinkStats, Quality
from sensors.wiring import Convert, DetectorTable

NOW_NS = 1764054000_000000000
#: the pack that the contract prints
CONTRACT_PACK = (
    b'[{"bn":"bay-3/","bt":1764054000.25,"n":"heatsink","u":"Cel","v":41.31},'
    b'{"n":"drain-1","u":"A","v":1.902},{"n":"drain-2","u":"A","v":1.887},{"n":"supply","u":"V","v":13.74},'
    b'{"n":"forward","u":"W","v":24.6},{"n":"reflected","u":"W","v":0.05},{"n":"key","vb":true},'
    b'{"n":"seq","v":88123}]'
)


def intake(**wirings: dict[str, Convert]) -> Intake:
    """An intake of bay-3, wired as told, and of bay-4."""
    return Intake({"bay-3": wirings.get("bay3", {}), "bay-4": {}}, LinkStats())


def one(found: list[Frame]) -> Frame:
    """The only frame."""
    assert len(found) == 1
    return found[0]


def pack(seq: int | None, value: float = 40.0, time_s: float = 1764054000.25) -> bytes:
    """A pack of bay-3 with one channel."""
    return encode("bay-3", time_s, [("heatsink", "Cel", value)], seq)


def test_the_pack_of_the_contract_becomes_the_frame_that_it_says() -> None:
    frame = one(intake().feed(CONTRACT_PACK, 7.5, NOW_NS))
    assert (frame.bay, frame.time_ns, frame.clock_s, frame.seq) == ("bay-3", NOW_NS + 250_000_000, 7.5, 88123)
    assert dict(frame.present()) == {
        "heatsink": 41.31,
        "drain-1": 1.902,
        "drain-2": 1.887,
        "supply": 13.74,
        "forward": 24.6,
        "reflected": 0.05,
        "key": 1.0,
    }
    assert frame.quality[INDEX["load"]] == Quality.MISSING
    assert math.isnan(frame.values[INDEX["load"]])


def test_a_raw_unit_goes_through_the_bays_own_conversion() -> None:
    def halve(value: float, unit: str) -> tuple[float, Quality]:
        return (value / 2, Quality.GOOD) if unit == "/" else (math.nan, Quality.REFUSED)

    said: list[tuple[object, ...]] = []
    taker = Intake({"bay-3": {"load": halve}}, LinkStats(), lambda *what: said.append(what))
    frame = one(taker.feed(encode("bay-3", 1.7e9, [("load", "/", 0.5)]), 0.0, NOW_NS))
    assert frame.values[INDEX["load"]] == 0.25
    assert said == [("bay-3", "load", "/", 0.5, 0.25, Quality.GOOD)]


def test_a_conversions_quality_goes_with_nan_whatever_value_it_gave() -> None:
    taker = intake(bay3={"load": lambda value, unit: (value, Quality.OPEN)})
    frame = one(taker.feed(encode("bay-3", 1.7e9, [("load", "/", 0.5)]), 0.0, NOW_NS))
    assert frame.quality[INDEX["load"]] == Quality.OPEN
    assert math.isnan(frame.values[INDEX["load"]])


@pytest.mark.parametrize(
    "record",
    ['"u":"K","v":300', '"v":300', '"vb":true', '"u":"Cel","s":3'],
    ids=["wrong unit", "no unit", "a boolean", "a sum alone"],
)
def test_a_record_that_does_not_fit_its_channel_is_refused_alone_and_counted(record: str) -> None:
    taker = intake()
    data = f'[{{"bn":"bay-3/","n":"heatsink",{record}}},{{"n":"supply","u":"V","v":13.8}}]'
    frame = one(taker.feed(data.encode(), 0.0, NOW_NS))
    assert frame.quality[INDEX["heatsink"]] == Quality.REFUSED
    assert dict(frame.present()) == {"supply": 13.8}
    assert taker.stats.bays["bay-3"].refused == 1
    assert "heatsink" in taker.stats.bays["bay-3"].last_error


def test_a_number_where_a_boolean_is_wanted_is_refused_alone() -> None:
    frame = one(intake().feed(b'[{"bn":"bay-3/","n":"key","v":1}]', 0.0, NOW_NS))
    assert frame.quality[INDEX["key"]] == Quality.REFUSED


@pytest.mark.parametrize(
    "data",
    [
        b'[{"bn":"bay-3/","n":"heatsink","vs":"hot"}]',
        b'[{"bn":"bay-3/","n":"key","vd":"AA"}]',
        b'[{"bn":"bay-3/","n":"heatsink","u":"Cel","v":NaN}]',
        b'[{"bn":"bay-3/","n":"seq","v":1.5}]',
        b'[{"bn":"bay-3/","n":"seq","v":4294967296}]',
        b'[{"bn":"bay-3/","n":"heatsink","u":"Cel","bt":1e300,"v":1}]',
        b'[{"bn":"bay-3/","n":"heatsink","u":"Cel","bt":-1e10,"v":1}]',
        b"[" * (10 << 20),
        b"",
    ],
    ids=["text", "data", "NaN", "half a seq", "seq too large", "far future", "before 1970", "10 MB", "empty"],
)
def test_a_bad_pack_is_counted_and_shown_and_the_next_one_is_taken(data: bytes) -> None:
    taker = intake()
    assert taker.feed(data, 0.0, NOW_NS) == []
    assert taker.stats.refused == 1
    assert taker.stats.last_error
    assert one(taker.feed(CONTRACT_PACK, 0.0, NOW_NS))
    assert taker.stats.bays["bay-3"].packs == 1


def test_a_refusal_that_names_a_bay_is_shown_at_that_bay() -> None:
    taker = intake()
    taker.feed(b'[{"bn":"bay-3/","n":"heatsink","vs":"hot"}]', 0.0, NOW_NS)
    assert "bay-3/heatsink" in taker.stats.bays["bay-3"].last_error


def test_an_unknown_name_is_kept_out_and_counted_and_may_be_a_text() -> None:
    taker = intake()
    frame = one(taker.feed(b'[{"bn":"bay-3/","n":"mood","vs":"fair"},{"n":"supply","u":"V","v":13}]', 0.0, NOW_NS))
    assert dict(frame.present()) == {"supply": 13}
    assert taker.stats.bays["bay-3"].unknown == 1


def test_a_pack_of_a_bay_that_the_link_does_not_have_is_a_stranger_once() -> None:
    taker = intake()
    assert taker.feed(encode("bay-9", 1.7e9, [("supply", "V", 13.0), ("load", "Cel", 20.0)], 5), 0.0, NOW_NS) == []
    assert taker.stats.strangers == 1
    assert "bay-9" in taker.stats.last_error
    assert set(taker.stats.bays) == {"bay-3", "bay-4"}


def test_one_pack_may_carry_two_bays_and_two_instants() -> None:
    data = (
        b'[{"bn":"bay-3/","bt":1764054000,"n":"supply","u":"V","v":1},{"n":"supply","u":"V","t":-1,"v":2},'
        b'{"bn":"bay-4/","n":"supply","u":"V","v":3},{"bn":"bay-3/","n":"load","u":"Cel","v":4}]'
    )
    frames = intake().feed(data, 0.0, NOW_NS)
    assert [(f.bay, f.time_ns - NOW_NS, dict(f.present())) for f in frames] == [
        ("bay-3", -1_000_000_000, {"supply": 2}),
        ("bay-3", 0, {"supply": 1, "load": 4}),
        ("bay-4", 0, {"supply": 3}),
    ]


def test_a_channel_said_twice_for_one_instant_is_believed_neither_time() -> None:
    frame = one(intake().feed(encode("bay-3", 1.7e9, [("supply", "V", 13.0), ("supply", "V", 14.0)]), 0.0, NOW_NS))
    assert frame.quality[INDEX["supply"]] == Quality.REFUSED
    assert math.isnan(frame.values[INDEX["supply"]])


def test_a_relative_time_counts_from_the_wall_clock_of_arrival() -> None:
    frame = one(intake().feed(b'[{"bn":"bay-3/","n":"supply","u":"V","t":-2,"v":1}]', 0.0, NOW_NS))
    assert frame.time_ns == NOW_NS - 2_000_000_000


def test_a_gap_in_seq_is_counted_as_packs_lost_also_across_the_modulus() -> None:
    taker = intake()
    for seq in (2**32 - 2, 2**32 - 1, 0, 3):
        taker.feed(pack(seq), 0.0, NOW_NS)
    assert (taker.stats.bays["bay-3"].lost, taker.stats.bays["bay-3"].restarts) == (2, 0)


def test_a_step_back_in_seq_is_a_node_restart_and_its_frames_are_kept() -> None:
    taker = intake()
    frames = [f for i, seq in enumerate((500, 501, 0, 1)) for f in taker.feed(pack(seq, 40.0 + i), 0.0, NOW_NS)]
    assert [f.seq for f in frames] == [500, 501, 0, 1]
    stats = taker.stats.bays["bay-3"]
    assert (stats.restarts, stats.lost, stats.repeats) == (1, 0, 0)


def test_the_same_pack_again_is_dropped_also_several_packs_later() -> None:
    taker = intake()
    sent = [pack(seq, 40.0 + seq) for seq in (10, 11, 12)]
    frames = [f for data in [*sent, sent[2], sent[0], sent[1], pack(13)] for f in taker.feed(data, 0.0, NOW_NS)]
    assert [f.seq for f in frames] == [10, 11, 12, 13]
    stats = taker.stats.bays["bay-3"]
    assert (stats.repeats, stats.restarts, stats.lost, stats.packs) == (3, 0, 0, 7)


def test_the_same_seq_with_another_content_is_a_restart_and_never_dropped() -> None:
    taker = intake()
    assert one(taker.feed(pack(0, 40.0), 0.0, NOW_NS))
    assert one(taker.feed(pack(0, 41.0), 0.0, NOW_NS))
    assert taker.stats.bays["bay-3"].restarts == 1


def test_a_node_without_seq_loses_nothing() -> None:
    taker = intake()
    frames = [f for _ in range(3) for f in taker.feed(pack(None), 0.0, NOW_NS)]
    assert [f.seq for f in frames] == [-1, -1, -1]


@given(
    st.dictionaries(st.sampled_from(CHANNELS), st.floats(-1e6, 1e6), min_size=1),
    st.integers(0, 2**32 - 1),
    st.integers(1_000_000_000_000_000, 4_000_000_000_000_000),
)
def test_what_a_node_encodes_is_what_the_frame_holds_to_the_microsecond(
    values: dict[str, float], seq: int, time_us: int
) -> None:
    readings = [(n, UNITS[n], v > 0 if UNITS[n] == "boolean" else v) for n, v in values.items()]
    frame = one(intake().feed(encode("bay-3", time_us / 1e6, readings, seq), 0.0, NOW_NS))
    assert dict(frame.present()) == {n: float(v) for n, _, v in readings}
    assert (frame.seq, frame.time_ns) == (seq, time_us * 1000)
    assert all((q != Quality.GOOD) == math.isnan(v) for q, v in zip(frame.quality, frame.values, strict=True))


@given(st.binary(max_size=200) | st.text(alphabet='[]{}":,nvbay-3/0e.seq', max_size=60).map(str.encode))
def test_no_bytes_whatever_make_the_intake_raise(data: bytes) -> None:
    taker = intake()
    assert taker.feed(data, 0.0, NOW_NS) == []
    assert taker.stats.refused + taker.stats.strangers == 1


def test_a_detectors_volts_go_beside_its_watts() -> None:
    """Also where nothing values them; of a node that sends watts there are none, nor of what is said twice."""
    table = DetectorTable(kind="detector", table=[(0.1, 10.0), (1.0, 40.0)])
    taking = Intake({"bay-1": {"forward": table.build()}}, LinkStats())
    pack = encode("bay-1", 1_764_054_000.0, [("forward", "V", 2.0), ("peak", "W", 9.0), ("reflected", "V", 0.25)])
    (frame,) = taking.feed(pack, 0.0, 0)
    assert frame.volts[0] == 2.0
    assert math.isnan(frame.volts[1])
    assert frame.volts[2] == 0.25
    assert frame.quality[FORWARD] == Quality.OUTSIDE
    assert frame.quality[REFLECTED] == Quality.REFUSED
    twice = encode("bay-1", 1_764_054_001.0, [("forward", "V", 0.5), ("forward", "V", 0.6)])
    (frame,) = taking.feed(twice, 0.0, 0)
    assert math.isnan(frame.volts[0])
