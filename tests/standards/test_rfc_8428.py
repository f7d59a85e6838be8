"""SenML packs against the examples of RFC 8428 section 5.1, and against its rules, each with its clause.

The RFC's payloads are IETF code components (Revised BSD terms of the IETF Trust), kept in ``senml_vectors.json``
with that attribution; the vectors under ``own_vectors``, ``must_reject`` and ``must_accept`` are ours.
"""

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from sensors.errors import PackRefused
from sensors.senml import Record, decode, resolve

VECTORS: dict[str, Any] = json.loads((Path(__file__).parent / "senml_vectors.json").read_text(encoding="utf-8"))
NOW_S = 1_600_000_000.0  # the vectors' own "now"
RESOLVED = VECTORS["rfc_vectors"] + VECTORS["own_vectors"]


def resolved(pack: object) -> list[Record]:
    """The records of a pack given as a Python object."""
    return resolve(decode(json.dumps(pack).encode()), NOW_S)


def same(got: list[Record], expected: list[dict[str, Any]]) -> None:
    """Field by field; times and sums to a microsecond and a part in 1e12, as adding doubles allows."""
    assert len(got) == len(expected)
    for record, wanted in zip(got, expected, strict=True):
        fields = msgspec.to_builtins(record)
        assert fields.keys() == wanted.keys()
        assert fields.pop("t") == pytest.approx(wanted["t"], abs=1e-6)
        assert fields == {
            label: pytest.approx(value, rel=1e-12) if label in {"v", "s"} else value
            for label, value in wanted.items()
            if label != "t"
        }


@pytest.mark.parametrize("vector", RESOLVED, ids=lambda v: str(v["section"]))
def test_examples_resolve_as_the_rfc_says(vector: dict[str, Any]) -> None:
    """Each example's resolved records, their order and their fields are those of sections 4.5 and 4.6."""
    same(resolved(vector["payload"]), vector["resolved"])


@pytest.mark.parametrize("vector", RESOLVED, ids=lambda v: str(v["section"]))
def test_resolving_again_changes_nothing(vector: dict[str, Any]) -> None:
    """Resolved records are their own resolved form (section 4.6)."""
    once = resolved(vector["payload"])
    again = resolve([r for r in once if r.bver is msgspec.UNSET], NOW_S + 1000.0)
    same(again, [msgspec.to_builtins(r) for r in once if r.bver is msgspec.UNSET])


@pytest.mark.parametrize("case", VECTORS["must_reject"], ids=lambda c: str(c["why"]))
def test_a_pack_that_breaks_a_rule_is_refused(case: dict[str, Any]) -> None:
    """Each broken rule of sections 4 and 5 is a PackRefused that says why."""
    with pytest.raises(PackRefused) as refused:
        resolved(case["payload"])
    assert refused.value.why


@pytest.mark.parametrize("case", VECTORS["must_accept"], ids=lambda c: str(c["why"]))
def test_a_pack_that_keeps_the_rules_is_taken(case: dict[str, Any]) -> None:
    """Sections 4.4 and 5: what a reader does not know it passes over, and 1.1 is 1.10."""
    assert len(resolved(case["payload"])) == 1


@pytest.mark.parametrize(
    ("base_s", "t_s", "absolute_s"),
    [
        (0, 0, NOW_S),
        (0, -5, NOW_S - 5),
        (0, 268435455, NOW_S + 268435455),
        (268435456, 0, 268435456.0),
        (1276020076.001, -5, 1276020071.001),
    ],
)
def test_times_below_two_to_the_28_count_from_now(base_s: float, t_s: float, absolute_s: float) -> None:
    """Section 4.5.3: the sum of base time and time is relative below 2**28 and Unix time from there on."""
    (record,) = resolved([{"n": "x", "v": 1, "bt": base_s, "t": t_s}])
    assert record.t == pytest.approx(absolute_s, abs=1e-6)
