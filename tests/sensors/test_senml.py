"""Packs: what is refused, what is let pass, and what resolving does with base fields (RFC 8428)."""

import json
import math
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.errors import PackRefused
from sensors.senml import PACK_LIMIT_BYTES, decode, encode, pack_of, resolve

#: own packs, each breaking one rule of RFC 8428; the clause stands beside it
BREAKS_THE_RFC = [
    ('[{"n":"-t1","u":"Cel","v":1}]', "4.5.1 first character"),
    ('[{"n":"rig 1","u":"Cel","v":1}]', "4.5.1 character set"),
    ('[{"bn":"b/","n":"gr\\u00fcn","v":1}]', "4.5.1 character set, escaped"),
    ('[{"u":"Cel","v":1}]', "4.2 empty name"),
    ('[{"n":"x","v":1,"vs":"a"}]', "4.2 two values"),
    ('[{"n":"x","u":"Cel","t":5}]', "4.2 no value and no sum"),
    ("[{}]", "4.2 empty record"),
    ("[]", "3 a pack has one record or more"),
    ('[{"n":"x","v":1,"foo_":2}]', "4.4 label that must be understood"),
    ('[{"bver":11,"n":"x","v":1}]', "4.4 version too high"),
    ('[{"bver":0,"n":"x","v":1}]', "4.1 version is positive"),
    ('[{"bver":10,"n":"x","v":1},{"bver":5,"n":"y","v":2}]', "4.4 versions disagree"),
    ('[{"n":"x","v":1},{"bver":5,"n":"y","v":2}]', "4.4 versions disagree, first by default"),
    ('{"n":"x","v":1}', "5 root is an array"),
    ('[{"n":"x","v":"1"}]', "5 v is a number"),
    ('[{"n":"x","v":null}]', "5 v is a number"),
    ('[{"n":"x","v":true}]', "5 v is a number"),
    ('[{"n":"x","vb":1}]', "5 vb is a boolean"),
]

#: own packs, each breaking one rule of the contract or of JSON (RFC 8259)
HOSTILE = [
    '[{"n":"x","v":NaN}]',
    '[{"n":"x","v":Infinity}]',
    '[{"n":"x","v":-Infinity}]',
    '[{"n":"x","v":1e400}]',
    '[{"n":"x","v":-1e400}]',
    '[{"n":"x","v":' + "9" * 500 + "}]",
    '[{"n":"x","v":1,"foo":1e400}]',
    '[{"n":"x","v":1,"foo":NaN}]',
    '[{"n":"x","v":1,"foo":' + "9" * 5000 + "}]",
    '[{"bn":"x","bv":1e308,"v":1e308}]',
    '[{"bn":"x","bt":1e308,"t":1e308,"v":1}]',
    '[{"n":"x","v":1,"v":1}]',
    '[{"n":"x","v":1,"v":2}]',
    '[{"n":"x","v":1,"\\u0076":2}]',
    '[{"n":"x:y","n":"x\\u003ay","v":2}]',
    '[{"n":"x","vs":"a\\u003ab","v":1,"v":1}]',
    '[{"n":"x","vs":"\\u003a","vs":"\\u003a"}]',
    '[{"n":"x","v":1,"foo":{"a":1,"a":2}}]',
    '[{"n":"x","v":1,"foo":' + "[" * 30000,
    '[{"n":"x","v":1,"foo":' + "[" * 30000 + "]" * 30000 + "}]",
    "[" * 60000,
    '[{"n":' * 9000,
    '[{"n":"x","v":1}',
    '[{"n":"x","v":1}] [',
    '[{"n":"x","v":01}]',
    "",
    "\x00",
]


def taken(pack: str) -> list[dict[str, object]]:
    """The resolved records as plain objects, at a now of 1.6e9 s."""
    found: list[dict[str, object]] = json.loads(pack_of(resolve(decode(pack.encode()), 1.6e9)))
    return found


@pytest.mark.parametrize("pack", [p for p, _ in BREAKS_THE_RFC], ids=[why for _, why in BREAKS_THE_RFC])
def test_a_pack_that_breaks_a_rule_of_the_rfc_is_refused(pack: str) -> None:
    with pytest.raises(PackRefused):
        taken(pack)


@pytest.mark.parametrize("pack", HOSTILE, ids=range(len(HOSTILE)))
def test_a_hostile_pack_is_refused_and_nothing_else_happens(pack: str) -> None:
    with pytest.raises(PackRefused):
        taken(pack)


@pytest.mark.parametrize("data", [b'[{"n":"\xff","v":1}]', '[{"n":"x","v":1}]'.encode("utf-16"), b"\xef\xbb\xbf[]"])
def test_only_utf8_is_read(data: bytes) -> None:
    with pytest.raises(PackRefused):
        decode(data)


def test_a_pack_of_ten_megabytes_is_refused_by_its_size_before_it_is_read() -> None:
    with pytest.raises(PackRefused, match="10485760 bytes"):
        decode(b"[" * (10 << 20))


def test_a_pack_of_just_the_limit_is_taken() -> None:
    pack = b'[{"n":"x","v":1}]'
    assert decode(pack.ljust(PACK_LIMIT_BYTES))
    with pytest.raises(PackRefused):
        decode(pack.ljust(PACK_LIMIT_BYTES + 1))


def test_a_label_that_is_not_known_and_need_not_be_understood_is_passed_over() -> None:
    assert taken('[{"n":"x","t":1600000000,"v":1,"foo":{"deep":[1,2]}}]') == [{"n": "x", "t": 1600000000, "v": 1}]


def test_colons_and_escapes_inside_strings_are_no_labels_said_twice() -> None:
    assert taken('[{"bn":"urn:dev:ow:1/","n":"a","vs":"b:c \\" d:e"}]')[0]["vs"] == 'b:c " d:e'


def test_a_base_value_alone_is_the_value_and_is_not_added_to_a_text() -> None:
    # RFC 8428 §4.5.4: a missing value counts as zero
    first, second = taken('[{"bn":"b/","bv":20,"n":"x"},{"n":"y","vs":"z"}]')
    assert first["v"] == 20
    assert "v" not in second


def test_a_base_sum_gives_every_later_record_a_sum() -> None:
    # RFC 8428 §4.5.4, as for the value
    assert [r["s"] for r in taken('[{"bn":"b","bs":100,"s":5,"v":1},{"n":"y","v":2}]')] == [105, 100]


def test_a_time_below_two_to_the_28_counts_from_now_and_from_there_on_is_absolute() -> None:
    # RFC 8428 §4.5.3
    now = taken('[{"n":"a","v":1},{"n":"b","t":-5,"v":1},{"n":"c","t":268435455,"v":1}]')
    assert {r["n"]: r["t"] for r in now} == {"a": 1.6e9, "b": 1.6e9 - 5, "c": 1.6e9 + 268435455}
    assert taken('[{"n":"a","bt":268435456,"v":1}]')[0]["t"] == 268435456


def test_resolved_records_stand_in_order_of_time_and_otherwise_as_they_came() -> None:
    # RFC 8428 §4.6
    pack = '[{"bt":1700000000,"n":"b","v":1},{"n":"a","v":1},{"n":"c","t":-1,"v":1}]'
    assert [r["n"] for r in taken(pack)] == ["c", "b", "a"]


def test_a_version_below_ten_is_kept_in_the_resolved_record() -> None:
    # RFC 8428 §4.6
    assert taken('[{"bver":5,"n":"b","v":1},{"n":"c","v":1}]')[1]["bver"] == 5


@given(
    st.lists(st.tuples(st.sampled_from(["heatsink", "drain-1"]), st.floats() | st.booleans()), max_size=12),
    st.integers(0, 2**32 - 1),
)
def test_what_is_encoded_comes_back_as_it_was_but_for_what_json_cannot_say(
    readings: list[tuple[str, float | bool]], seq: int
) -> None:
    pack = encode("bay-3", 1764054000.25, ((n, "W", v) for n, v in readings), seq)
    back = resolve(decode(pack), 0.0)
    kept = [(f"bay-3/{n}", v) for n, v in readings if math.isfinite(v)]
    assert [(r.n, r.vb if isinstance(r.vb, bool) else r.v) for r in back] == [*kept, ("bay-3/seq", seq)]
    assert {r.t for r in back} == {1764054000.25}


@given(st.binary(max_size=300) | st.text(alphabet='[]{}":,ntvbs_01e.\\', max_size=80).map(str.encode))
def test_no_bytes_whatever_raise_anything_but_a_refusal(data: bytes) -> None:
    with suppress(PackRefused):
        resolve(decode(data), 0.0)


@given(st.lists(st.sampled_from(['"n":"x"', '"v":1', '"u":"a:b"', '"t":3', '"\\u0076":2', '"q":1']), max_size=6))
def test_a_label_said_twice_is_refused_wherever_it_stands(fields: list[str]) -> None:
    pack = "[{" + ",".join(fields) + "}]"
    labels = [next(iter(json.loads("{" + field + "}"))) for field in fields]
    if len(set(labels)) < len(labels):
        with pytest.raises(PackRefused):
            decode(pack.encode())
    else:
        decode(pack.encode())
