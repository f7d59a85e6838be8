"""The lease, node side: the key is keyed as long as it is lent, and not a moment longer."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.errors import PackRefused
from sensors.lease import LONGEST_S, NodeLease, key_pack


def test_the_pack_is_the_one_that_the_contract_prints() -> None:
    expected = '[{"bn":"bay-3/","n":"key","vb":true},{"n":"lease","u":"s","v":3}]'
    assert json.loads(key_pack("bay-3", 3, True)) == json.loads(expected)


def test_tone_and_cut_go_in_the_same_pack() -> None:
    pack = json.loads(key_pack("b", 3.0, False, tone=False, cut=True))
    assert [(r["n"], r.get("vb")) for r in pack] == [("key", False), ("tone", False), ("cut", True)]


def test_a_node_is_keyed_until_the_lease_ends_and_then_unkeys_by_itself() -> None:
    node = NodeLease("bay-3")
    node.hear(key_pack("bay-3", 3.0, True), 10.0)
    assert node.keyed(12.999)
    assert not node.keyed(13.0)
    assert not node.keyed(11.0), "a loan that has ended stays ended, even for a clock that steps back"


def test_a_renewal_extends_the_lease_from_its_own_time() -> None:
    node = NodeLease("bay-3")
    node.hear(key_pack("bay-3", 3.0, True), 10.0)
    node.hear(key_pack("bay-3", 3.0, True), 11.0)
    assert node.keyed(13.9)
    assert not node.keyed(14.0)


def test_key_false_unkeys_at_once() -> None:
    node = NodeLease("bay-3")
    node.hear(key_pack("bay-3", 3.0, True, tone=True), 10.0)
    node.hear(key_pack("bay-3", 3.0, False), 10.1)
    assert not node.keyed(10.1)
    assert not node.tone


def test_the_tone_holds_under_the_lease_only() -> None:
    node = NodeLease("bay-3")
    node.hear(key_pack("bay-3", 3.0, True, tone=True), 10.0)
    node.hear(key_pack("bay-3", 3.0, True), 11.0)
    assert node.tone, "a renewal that does not name the tone leaves it"
    assert not node.keyed(14.0)
    assert not node.tone
    node.hear(key_pack("bay-3", 3.0, True), 20.0)
    assert not node.tone, "a new loan begins without tone"


def test_the_supply_stays_cut_until_it_is_told_otherwise() -> None:
    node = NodeLease("bay-3")
    node.hear(key_pack("bay-3", 3.0, False, cut=True), 10.0)
    node.hear(key_pack("bay-3", 3.0, True), 11.0)
    assert node.cut
    node.hear(key_pack("bay-3", 3.0, False, cut=False), 12.0)
    assert not node.cut


def test_the_key_of_another_bay_is_passed_over() -> None:
    node = NodeLease("bay-3")
    node.hear(key_pack("bay-31", 3.0, True), 10.0)
    assert not node.keyed(10.0)


def test_no_message_lends_the_key_for_longer_than_the_node_allows() -> None:
    node = NodeLease("bay-3")
    node.hear(key_pack("bay-3", 1e9, True), 0.0)
    assert not node.keyed(LONGEST_S)


@pytest.mark.parametrize(
    "pack",
    [
        b'[{"bn":"b/","n":"key","vb":true}]',
        b'[{"bn":"b/","n":"key","vb":true},{"n":"lease","v":3}]',
        b'[{"bn":"b/","n":"key","vb":true},{"n":"lease","u":"min","v":3}]',
        b'[{"bn":"b/","n":"key","vb":true},{"n":"lease","u":"s","v":0}]',
        b'[{"bn":"b/","n":"key","v":1},{"n":"lease","u":"s","v":3}]',
        b'[{"bn":"b/","n":"key","vb":true,"vb":true},{"n":"lease","u":"s","v":3}]',
        b'[{"bn":"b/","n":"key","vb":true},{"n":"lease","u":"s","v":1e999}]',
    ],
)
def test_a_loan_that_is_not_plainly_one_keys_nothing(pack: bytes) -> None:
    node = NodeLease("b")
    with pytest.raises(PackRefused):
        node.hear(pack, 0.0)
    assert not node.keyed(0.0)


@given(st.lists(st.tuples(st.floats(0, 2), st.booleans(), st.floats(0.1, 5)), max_size=20), st.floats(0, 10))
def test_a_node_is_never_keyed_past_the_end_of_the_last_thing_it_heard(
    heard: list[tuple[float, bool, float]], later_s: float
) -> None:
    node, clock_s, ends_s = NodeLease("b"), 0.0, 0.0
    for wait_s, on, lease_s in heard:
        clock_s += wait_s
        node.hear(key_pack("b", lease_s, on), clock_s)
        ends_s = clock_s + lease_s if on else clock_s
    assert node.keyed(clock_s + later_s) == (clock_s + later_s < ends_s)
