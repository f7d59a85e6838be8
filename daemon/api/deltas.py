"""The rack as a picture, and what changed in it since somebody last looked.

The daemon tells the dashboard, and the dashboard each of its tabs, by the same two hands: a ``Cursor`` remembers what
one listener has been told and says the rest as a patch, a ``Mirror`` puts patches together to a picture again. A
soak strip goes over once and then grows at its end; of a bay's other fields only those that changed are said.

A patch: ``{"rack", "note", "order"}`` and ``alerts_unacknowledged`` where these changed, and ``"bays"``, by name: the
fields that changed, ``age_s`` (seconds since its last frame) always, and ``"strip": [n, points]``: keep the first n
points, then add these.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

Point = tuple[float, float]
Patch = dict[str, Any]


@dataclass(frozen=True, slots=True)
class BayPicture:
    """One bay, made anew when a field changes; ``strip`` alone grows in place, and is another list in another soak."""

    fields: Mapping[str, Any]
    strip: list[Point]
    heard_s: float | None  # when its last frame came, on the clock of this process


@dataclass(frozen=True, slots=True)
class Picture:
    """The whole rack; ``bays`` in the order in which they stand."""

    rack: str
    note: str
    bays: Mapping[str, BayPicture]
    unacknowledged: int = 0  # open alerts that nobody has acknowledged yet


@dataclass(slots=True)
class _Told:
    picture: BayPicture
    strip: list[Point]
    points: int
    last: Point | None


@dataclass(slots=True)
class Cursor:
    """What one listener has been told."""

    _head: tuple[str, str, tuple[str, ...]] | None = None
    _unacknowledged: int | None = None
    _bays: dict[str, _Told] = field(default_factory=dict)

    def patch(self, picture: Picture, clock_s: float) -> Patch:
        """What is new to the listener; empty when nothing is."""
        out: Patch = {}
        head = (picture.rack, picture.note, tuple(picture.bays))
        if head != self._head:
            self._head = head
            out |= {"rack": picture.rack, "note": picture.note, "order": list(picture.bays)}
        if picture.unacknowledged != self._unacknowledged:
            self._unacknowledged = out["alerts_unacknowledged"] = picture.unacknowledged
        bays = {}
        for name, bay in picture.bays.items():
            told = self._bays.get(name)
            if told is None or told.picture is not bay:
                bays[name] = self._bay(name, told, bay, clock_s)
        if bays:
            out["bays"] = bays
        return out

    def _bay(self, name: str, told: _Told | None, bay: BayPicture, clock_s: float) -> Patch:
        before = told.picture.fields if told else {}
        out = {key: value for key, value in bay.fields.items() if key not in before or before[key] != value}
        out["age_s"] = None if bay.heard_s is None else round(max(0.0, clock_s - bay.heard_s), 3)
        # the last point may still be replaced by a hotter one of its part
        known = max(0, told.points - 1) if told and told.strip is bay.strip else 0
        points = bay.strip[known:]
        last = points[-1] if points else None
        count = known + len(points)
        if told is None or told.strip is not bay.strip or count != told.points or last != told.last:
            out["strip"] = [known, points]
        self._bays[name] = _Told(bay, bay.strip, count, last)
        return out


class Mirror:
    """The picture that the patches of one teller make."""

    def __init__(self) -> None:
        self._rack, self._note, self._unacknowledged = "", "", 0
        self._order: list[str] = []
        self._bays: dict[str, BayPicture] = {}

    def apply(self, patch: Patch, clock_s: float) -> Picture:
        """Take a patch in; the picture as it is now."""
        self._rack = patch.get("rack", self._rack)
        self._note = patch.get("note", self._note)
        self._order = patch.get("order", self._order)
        self._unacknowledged = patch.get("alerts_unacknowledged", self._unacknowledged)
        for name, change in patch.get("bays", {}).items():
            self._bays[name] = _changed(self._bays.get(name), change, clock_s)
        bays = {n: self._bays[n] for n in self._order if n in self._bays}
        return Picture(self._rack, self._note, bays, self._unacknowledged)


def _changed(bay: BayPicture | None, change: Patch, clock_s: float) -> BayPicture:
    fields = {key: value for key, value in change.items() if key not in ("age_s", "strip")}
    strip = bay.strip if bay else []
    if "strip" in change:
        keep, points = change["strip"]
        strip = strip if keep else []
        strip[keep:] = [(at_s, heat_c) for at_s, heat_c in points]
    age_s = change["age_s"]
    return BayPicture({**(bay.fields if bay else {}), **fields}, strip, None if age_s is None else clock_s - age_s)
