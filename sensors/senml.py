"""SenML packs in JSON (RFC 8428): decoded strictly, resolved to the letter, encoded compactly."""

import json
import math
import re
from collections.abc import Iterable
from functools import lru_cache
from operator import attrgetter
from typing import Any

import msgspec
from msgspec import UNSET, UnsetType

from sensors.errors import PackRefused

#: the contract's limit on a pack
PACK_LIMIT_BYTES = 64 * 1024
#: RFC 8428 §4.5.3: a time below counts from now, from there on it is Unix time
RELATIVE_BELOW_S = 2.0**28
#: RFC 8428 §4.4
VERSION = 10

#: RFC 8428 §4.5.1
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")


class Record(msgspec.Struct, omit_defaults=True, gc=False):
    """One SenML record, fields and labels of RFC 8428 §4.1 to 4.3; UNSET where the pack has none."""

    bn: str | UnsetType = UNSET
    bt: float | UnsetType = UNSET
    bu: str | UnsetType = UNSET
    bv: float | UnsetType = UNSET
    bs: float | UnsetType = UNSET
    bver: int | float | UnsetType = UNSET
    n: str | UnsetType = UNSET
    u: str | UnsetType = UNSET
    t: float | UnsetType = UNSET
    v: float | UnsetType = UNSET
    vs: str | UnsetType = UNSET
    vb: bool | UnsetType = UNSET
    vd: str | UnsetType = UNSET
    s: float | UnsetType = UNSET
    ut: float | UnsetType = UNSET


class _Known(Record, forbid_unknown_fields=True):
    """A record of labels that RFC 8428 defines, and no other."""


_decode_known = msgspec.json.Decoder(list[_Known]).decode
_decode_any = msgspec.json.Decoder(list[Record]).decode
_encode = msgspec.json.Encoder().encode
_by_time = attrgetter("t")


def decode(data: bytes) -> list[Record]:
    """The records of one pack, as they stand in it (unresolved).

    Raises PackRefused for more than 64 KiB, anything that is no JSON array of SenML records, an empty one, a label
    said twice in a record, a number that a double can't hold, and a label ending in ``_`` (RFC 8428 §4.4).
    """
    if len(data) > PACK_LIMIT_BYTES:
        raise PackRefused(f"{len(data)} bytes, more than the {PACK_LIMIT_BYTES} that a pack may have")
    try:
        records: list[Any] = _decode_known(data)
    except msgspec.ValidationError:
        _look_closely(data)
        records = _decode_loosely(data)
    except (ValueError, RecursionError) as err:
        raise PackRefused(str(err)) from err
    else:
        # msgspec silently keeps the last of two equal labels. Without escapes, the text has one colon a label and
        # those inside strings; encoding what was kept gives the same count only when no label was dropped.
        if b"\\" in data or data.count(b":") != _encode(records).count(b":"):
            _look_closely(data)
    if not records:
        raise PackRefused("no records in the pack")
    return records


def _decode_loosely(data: bytes) -> list[Record]:
    try:
        return _decode_any(data)
    except (ValueError, RecursionError) as err:
        raise PackRefused(str(err)) from err


def _look_closely(data: bytes) -> None:
    """Refuse what msgspec lets pass: labels said twice, labels that must be understood, huge numbers unread."""
    try:
        json.loads(data.decode(), object_pairs_hook=_object, parse_float=_number, parse_constant=_number)
    except RecursionError as err:
        raise PackRefused("nested too deep") from err
    except ValueError as err:  # its subclasses are bad JSON, bad UTF-8 and an int of too many digits
        raise PackRefused(str(err)) from err


def _object(pairs: list[tuple[str, object]]) -> None:
    seen = set()
    for label, _ in pairs:
        if label in seen:
            raise PackRefused(f"the label {label!r} is said twice in one record")
        if label.endswith("_"):
            raise PackRefused(f"the label {label!r} must be understood, and is not")
        seen.add(label)


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise PackRefused(f"{text[:20]} is not a finite number")
    return value


@lru_cache(maxsize=4096)
def _checked_name(name: str) -> str:
    if not _NAME.fullmatch(name):
        why = "has a character that RFC 8428 does not allow there" if name else "is empty"
        raise PackRefused(f"a record's name {why}", ascii(name[:80]) if name else "")
    return name


def resolve(  # noqa: PLR0912  the rules of one clause of the RFC in one pass, on the hot path
    records: Iterable[Record], now_s: float
) -> list[Record]:
    """Resolved records in order of time (RFC 8428 §4.5, 4.6); ``now_s`` is Unix time, for relative times.

    A record of base fields alone gives none. Raises PackRefused for a name or a version that the RFC does not
    allow, no value and no sum, two values in a record, and a sum of base and value that a double can't hold.
    """
    bn, bt = "", 0.0
    bu: str | UnsetType = UNSET
    bv: float | UnsetType = UNSET
    bs: float | UnsetType = UNSET
    version: int | float = VERSION
    resolved: list[Record] = []
    last_s = -math.inf
    in_order = True
    for index, r in enumerate(records):
        if r.bn is not UNSET:
            bn = r.bn
        if r.bt is not UNSET:
            bt = r.bt
        if r.bu is not UNSET:
            bu = r.bu
        if r.bv is not UNSET:
            bv = r.bv
        if r.bs is not UNSET:
            bs = r.bs
        if r.bver is not UNSET:
            version = _version(r.bver, version if index else r.bver)
        v, s = r.v, r.s
        values = (v is not UNSET) + (r.vb is not UNSET) + (r.vs is not UNSET) + (r.vd is not UNSET)
        if not values and s is UNSET and r.n is UNSET and r.u is UNSET and r.t is UNSET and r.ut is UNSET:
            if _base_only(r):
                continue
            raise PackRefused("an empty record")
        name = _checked_name(bn if r.n is UNSET else bn + r.n)
        if bs is not UNSET:
            s = bs if s is UNSET else bs + s
        if bv is not UNSET and (not values or v is not UNSET):
            v = bv if v is UNSET else bv + v
            values = values or 1
        if values != 1 and (values or s is UNSET):
            raise PackRefused("two values in one record" if values else "no value and no sum", name)
        t = bt if r.t is UNSET else bt + r.t
        if t < RELATIVE_BELOW_S:
            t += now_s
        if not (math.isfinite(t) and (v is UNSET or math.isfinite(v)) and (s is UNSET or math.isfinite(s))):
            raise PackRefused("base and value together are no finite number", name)
        in_order = in_order and t >= last_s
        last_s = t
        one = Record(n=name, u=bu if r.u is UNSET else r.u, t=t, v=v, vs=r.vs, vb=r.vb, vd=r.vd, s=s, ut=r.ut)
        if version != VERSION:
            one.bver = version
        resolved.append(one)
    if not in_order:
        resolved.sort(key=_by_time)
    return resolved


def _version(said: int | float, before: int | float) -> int | float:
    if said != before:
        raise PackRefused(f"its records disagree on the version: {before} and {said}")
    if said > VERSION:
        raise PackRefused(f"version {said}, and {VERSION} is the highest that is known here")
    if said < 1 or said != int(said):
        raise PackRefused(f"version {said} is no positive whole number")
    return said


def _base_only(r: Record) -> bool:
    return any(getattr(r, label) is not UNSET for label in ("bn", "bt", "bu", "bv", "bs", "bver"))


def pack_of(records: list[Record]) -> bytes:
    """The pack of these records, as they stand."""
    return _encode(records)


def encode(bay: str, time_s: float, readings: Iterable[tuple[str, str, float | bool]], seq: int | None = None) -> bytes:
    """One pack of ``(channel, unit, value)`` at ``time_s`` (Unix time), with base name ``bay/`` and its ``seq``.

    A boolean goes as ``vb`` and without a unit; a value that is no finite number is left out, as SenML has none.
    """
    records = [
        Record(n=channel, vb=value) if isinstance(value, bool) else Record(n=channel, u=unit, v=value)
        for channel, unit, value in readings
        if math.isfinite(value)
    ]
    if seq is not None:
        records.append(Record(n="seq", v=seq))
    if not records:
        records.append(Record())
    records[0].bn = f"{bay}/"
    records[0].bt = time_s
    return pack_of(records)
