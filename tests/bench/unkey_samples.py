"""What the nodes of the unkey bench say, and the hand that keeps their bays soaking."""

import heapq
import http.client
import json
import threading
import time
from typing import NamedTuple

from tests.bench.unkey_children import Child
from tests.bench.unkey_rack import PLAN, Rack

#: from an unkey to the next soak of its bay
AGAIN_S = 1.0


class Sample(NamedTuple):
    """Seconds from a telling pack to its unkey; ``stall``: the machine stood still in between."""

    s: float
    stall: bool


Times = dict[str, list[Sample]]
"""By kind of link."""


class Samples:
    """Hears the nodes; what they say is counted into ``into``, and into nothing where that is None."""

    def __init__(self, rack: Rack, nodes: Child) -> None:
        self.news = threading.Lock()
        self.due: list[tuple[float, str]] = []  # bays whose soak is to be started anew
        self.into: Times | None = None
        self.odd: dict[str, int] = {}  # telling packs that were not answered, unkeys that nobody told, ...
        self.odd_bays: list[str] = []
        self._rack, self._nodes = rack, nodes
        threading.Thread(target=self._hear, daemon=True).start()

    def _hear(self) -> None:
        while line := self._nodes.line():
            said = json.loads(line)
            with self.news:
                heapq.heappush(self.due, (time.monotonic() + AGAIN_S, said["bay"]))
                if self.into is None:
                    continue
                if said["s"] is None:
                    self.note(said["odd"])
                    self.odd_bays.append(said["bay"])
                else:
                    self.into[self._rack.kind(said["bay"])].append(Sample(said["s"], said["stall"]))

    def start_all(self, bays: list[str]) -> None:
        """Have a soak started on each of these."""
        with self.news:
            for bay in bays:
                heapq.heappush(self.due, (time.monotonic(), bay))

    def count(self, into: Times | None) -> None:
        """From now on."""
        with self.news:
            self.into = into

    def note(self, what: str) -> None:
        """Count something that ought not to be."""
        self.odd[what] = self.odd.get(what, 0) + 1


def soak(at: str, samples: Samples, seconds: float) -> None:
    """Keep every bay soaking for so long."""
    wire = http.client.HTTPConnection(at, timeout=30)
    body = json.dumps({"plan": PLAN, "number": "1", "unit": "MR-25 no. 014"})
    ends_s = time.monotonic() + seconds
    while (now_s := time.monotonic()) < ends_s:
        with samples.news:
            bay = heapq.heappop(samples.due)[1] if samples.due and samples.due[0][0] <= now_s else None
        if samples.odd_bays:
            wire.request("GET", f"/v1/bays/{samples.odd_bays.pop()}", headers={"connection": "close"})
            view = json.loads(wire.getresponse().read())
            samples.note(f"{view['status']}: {(view['reasons'] or [''])[0][:70]}")
        if bay is None:
            time.sleep(0.02)
            continue
        wire.request("POST", f"/v1/bays/{bay}/soak", body, {"content-type": "application/json", "connection": "close"})
        answer = wire.getresponse()
        if answer.status != 200:
            # a node that was unkeyed untold may have been keyed again: then its soak runs, and it will tell
            samples.note(f"soak refused: {answer.read().decode()[:90]}")
        answer.read()
