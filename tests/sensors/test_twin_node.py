"""The twin's node obeys the contract, in its own time: lease, tone, cut, cutout, seq, and the raw wiring."""

import contextlib
import math
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from sensors.conversion import ChannelTable
from sensors.errors import PackRefused
from sensors.intake import Intake
from sensors.lease import key_pack
from sensors.senml import decode, resolve
from sensors.twin import raw
from sensors.twin.faults import FanStop, OpenSensor, StuckKey
from sensors.twin.instant import InstantBay
from sensors.twin.node import Node
from sensors.twin.spec import UnitSpec
from sensors.types import FORWARD, HEATSINK, INDEX, KEY, SUPPLY, UNITS, Frame, LinkStats, Quality
from sensors.wiring import Conversion

START_NS = 1_764_054_000 * 10**9
BAY = "bay-1"


def bay(**fields: object) -> InstantBay:
    return InstantBay(UnitSpec.model_validate({"bay": BAY, "seed": 7, **fields}), START_NS)


def lend(lease_s: float = 3.0, tone: bool | None = True, cut: bool | None = None) -> bytes:
    return key_pack(BAY, lease_s, True, tone=tone, cut=cut)


def watched(spec: UnitSpec) -> tuple[Node, list[tuple[bool, float, str]]]:
    said: list[tuple[bool, float, str]] = []
    return Node(spec, 100.0, lambda on, clock_s, why: said.append((on, clock_s, why))), said


def frame(pack: bytes, clock_s: float = 0.0) -> Frame:
    stats = LinkStats()
    (one,) = Intake({BAY: {}}, stats).feed(pack, clock_s, START_NS)
    assert stats.bays[BAY].unknown == stats.bays[BAY].refused == 0
    return one


def test_a_pack_has_the_contract_s_names_and_units() -> None:
    """Every record resolves to bay/channel in the contract's unit, at the node's absolute time, with a seq."""
    twin = bay(extras=["case", "bias", "peak", "load", "ambient"], devices=3)
    records = resolve(decode(twin.advance(0.5)), now_s=0.0)
    names = [str(r.n).removeprefix(f"{BAY}/") for r in records]
    assert names[-1] == "seq"
    assert {r.t for r in records} == {START_NS / 1e9 + 0.5}
    for record, name in zip(records[:-1], names[:-1], strict=True):
        assert name in UNITS
        if UNITS[name] != "boolean":
            assert record.u == UNITS[name]
    assert {"heatsink", "case-3", "drain-3", "bias-3", "supply", "forward", "reflected", "key", "cut"} <= set(names)


def test_the_key_ends_with_the_lease() -> None:
    """A node that hears no renewal unkeys when the lease ends, to a step of its own time, and says why."""
    node, said = watched(UnitSpec(bay=BAY))
    node.hear(lend(3.0), 100.0)
    node.advance(110.0)
    (on, off) = said
    assert on == (True, 100.0, "told")
    assert off[0] is False
    assert off[1] == pytest.approx(103.0, abs=0.25)
    assert off[2] == "lease ended"
    assert node.key_down_s == pytest.approx(3.0, abs=0.25)


def test_renewals_keep_the_key_and_false_takes_it_at_once() -> None:
    """Renewed each second the radio stays keyed; told false it is unkeyed in that instant's pack."""
    twin = bay()
    for _ in range(20):
        twin.hear(lend())
        for _ in range(2):
            assert frame(twin.advance(0.5)).values[FORWARD] > 20.0
    twin.hear(key_pack(BAY, 0.0, False))
    after = frame(twin.advance(0.0))
    assert after.values[KEY] == 0.0
    assert after.values[FORWARD] < 0.1


def test_without_tone_only_the_idle_current_flows() -> None:
    """Keyed without tone: idle current and no power; with tone: full power; a node that can't gate: always power."""
    twin = bay()
    twin.hear(lend(tone=False))
    idle = frame(twin.advance(0.5))
    twin.hear(lend(tone=True))
    driven = frame(twin.advance(0.5))
    assert idle.values[KEY] == driven.values[KEY] == 1.0
    assert idle.values[FORWARD] < 0.1
    assert 0.2 < idle.values[5] < 0.4
    assert driven.values[FORWARD] > 20.0
    ungated = bay(tone=False)
    ungated.hear(lend(tone=None))
    assert frame(ungated.advance(0.5)).values[FORWARD] > 20.0


def test_cut_opens_the_relay_until_told_otherwise_even_over_a_restart() -> None:
    """The relay stays open without any lease and over a restart, and closes when told false."""
    twin = bay()
    twin.hear(lend(cut=True))
    assert frame(twin.advance(0.5)).values[SUPPLY] < 0.1
    twin.node.restart(twin.clock_s)
    assert frame(twin.advance(60.0)).values[SUPPLY] < 0.1
    twin.hear(key_pack(BAY, 0.0, False, cut=False))
    assert frame(twin.advance(0.5)).values[SUPPLY] > 13.0


def test_only_cutting_the_supply_ends_a_stuck_key() -> None:
    """With a welded contact the node says unkeyed while current flows, until the relay opens."""
    twin = bay()
    twin.node.inject(StuckKey(kind="stuck-key"))
    twin.hear(lend())
    twin.advance(1.0)
    twin.hear(key_pack(BAY, 0.0, False))
    stuck = frame(twin.advance(1.0))
    assert stuck.values[KEY] == 0.0
    assert stuck.values[5] > 0.2
    twin.hear(key_pack(BAY, 0.0, False, cut=True))
    assert frame(twin.advance(1.0)).values[5] < 0.05


def test_the_node_s_own_cutout_unkeys_and_waits_for_the_key_to_be_given_back() -> None:
    """Above its cutout the node unkeys however it is told, its thermistor open too, and stays unkeyed."""
    node, said = watched(UnitSpec(bay=BAY, thermal_scale=0.1, cutout_c=60.0))
    node.inject(FanStop(kind="fan-stop", times=3.0))
    node.inject(OpenSensor(kind="open-sensor"))
    for second in range(600):
        node.hear(lend(), 100.0 + second)
    assert [(on, why) for on, _, why in said] == [(True, "told"), (False, "cutout")]
    assert 59.9 < max(node.radio.sink_c, 60.0) < 62.0
    node.hear(key_pack(BAY, 0.0, False), 701.0)
    node.advance(702.0)
    node.hear(lend(), 703.0)
    assert said[-1][:1] + said[-1][2:] == (True, "told")


def test_seq_counts_from_zero_after_a_restart() -> None:
    """Each pack has the next seq; a restart begins again at 0 and keeps no loan."""
    twin = bay()
    twin.hear(lend(30.0))
    assert [frame(twin.advance(0.5)).seq for _ in range(3)] == [0, 1, 2]
    twin.node.restart(twin.clock_s)
    first = frame(twin.advance(0.5))
    assert first.seq == 0
    assert first.values[KEY] == 0.0


@given(st.binary(max_size=200))
def test_no_bytes_on_the_line_key_a_node(data: bytes) -> None:
    """Whatever comes, a pack that is no loan is refused or passed over, and the radio stays unkeyed."""
    node, said = watched(UnitSpec(bay=BAY))
    with contextlib.suppress(PackRefused):
        node.hear(data, 101.0)
    assert not node.radio.keyed
    assert said == []


def test_a_loan_for_another_bay_keys_nobody_else() -> None:
    """The key of bay-2 is none of bay-1's."""
    twin = bay()
    twin.hear(key_pack("bay-2", 3.0, True, tone=True))
    assert frame(twin.advance(0.5)).values[KEY] == 0.0


def test_the_same_seed_and_the_same_orders_give_the_same_packs() -> None:
    """A run in event time repeats to the byte, so a test or a benchmark that fails can be run again."""

    def run() -> list[bytes]:
        twin = bay(extras=["case"], fault=[{"kind": "current-hog", "at_s": 2, "ramp_s": 5}])
        twin.hear(lend(20.0))
        return [twin.advance(0.5) for _ in range(20)]

    assert run() == run()


def test_raw_packs_carry_ratios_and_volts_that_turn_back_into_the_quantities() -> None:
    """With raw=true there are divider ratios and volts; the documented wiring gives the readings back."""
    units: dict[bool, dict[str, object]] = {}
    values: dict[bool, dict[str, float]] = {}
    for is_raw in (False, True):
        twin = bay(raw=is_raw)
        twin.hear(lend(30.0))
        records = resolve(decode(twin.advance(5.0)), now_s=0.0)
        units[is_raw] = {str(r.n).removeprefix(f"{BAY}/"): r.u for r in records}
        values[is_raw] = {str(r.n).removeprefix(f"{BAY}/"): r.v for r in records if isinstance(r.v, float)}
    assert [units[True][name] for name in ("heatsink", "drain-1", "forward", "supply")] == ["/", "V", "V", "V"]
    plain, volts = values[False], values[True]
    # Beta equation and the divider turned round, written out here apart from the twin's own code.
    ohm = raw.NTC_REFERENCE_OHM * volts["heatsink"] / (1.0 - volts["heatsink"])
    kelvin = 1.0 / (1.0 / 298.15 + math.log(ohm / raw.NTC_R0_OHM) / raw.NTC_BETA_K)
    assert kelvin - 273.15 == pytest.approx(plain["heatsink"], abs=0.01)
    assert (volts["drain-1"] - 0.1) / 0.4 == pytest.approx(plain["drain-1"], abs=0.001)
    table = raw.detector_table()
    over = next(i for i, (v, _) in enumerate(table) if v > volts["forward"])
    watts = [10 ** (dbm / 10) / 1000 for _, dbm in table[over - 1 : over + 1]]
    assert watts[0] < plain["forward"] < watts[1]


def test_the_documented_wiring_reads_a_raw_node_as_it_is() -> None:
    """A raw node through the bay's own conversions gives the frame of a node that converts, and names its faults."""
    extras = ["case", "bias", "peak", "load", "ambient"]
    tables = raw.tables(["heatsink", "case-1", "case-2", "drain-1", "drain-2", "forward", "peak", "load", "ambient"])
    conversions: TypeAdapter[ChannelTable] = TypeAdapter(Conversion)
    wiring = {name: conversions.validate_python(table).build() for name, table in tables.items()}
    twins = [bay(raw=is_raw, extras=extras, thermal_scale=0.1) for is_raw in (True, False)]
    for twin in twins:
        twin.hear(lend(30.0))
    packs = [[twin.advance(20.0), twin.advance(5.0)][1] for twin in twins]
    stats = LinkStats()
    intake = Intake({BAY: wiring}, stats)
    (converted,) = intake.feed(packs[0], 0.0, START_NS)
    direct = frame(packs[1])
    for name in tables:
        i = INDEX[name]
        assert converted.quality[i] == Quality.GOOD, name
        assert converted.values[i] == pytest.approx(direct.values[i], rel=0.005, abs=0.03), name
    for kind, quality in (("open-sensor", Quality.OPEN), ("shorted-sensor", Quality.SHORT)):
        faulty = bay(raw=True, fault=[{"kind": kind}])
        (broken,) = Intake({BAY: wiring}, stats).feed(faulty.advance(0.5), 0.0, START_NS)
        assert broken.quality[HEATSINK] == quality


def test_the_detector_is_square_law_when_small_and_linear_when_large() -> None:
    """Output with P in the square-law region, with √P above it (handbook physics; McMaster University's lab notes)."""
    assert raw.detector_v(0.002) / raw.detector_v(0.001) == pytest.approx(2.0, rel=0.02)
    assert raw.detector_v(100.0) / raw.detector_v(50.0) == pytest.approx(math.sqrt(2.0), rel=0.01)


def test_two_hours_run_in_seconds_and_settle_where_a_radio_does() -> None:
    """A whole soak in event time, keyed throughout, ends at 50 to 60 C and takes a few seconds at most."""
    twin = bay()
    began_s = time.perf_counter()
    for _ in range(7200):
        twin.hear(lend())
        pack = twin.advance(1.0)
    assert time.perf_counter() - began_s < 10.0
    assert 50.0 < frame(pack).values[HEATSINK] < 60.0
    assert twin.clock_s == pytest.approx(7200.0)
