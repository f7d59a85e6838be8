"""The key is lent, never given: the pack that lends it, and the node's side of the loan (the contract)."""

from msgspec import UNSET

from sensors.errors import PackRefused
from sensors.senml import Record, decode, pack_of, resolve

#: a node ends any loan by itself after this, whatever a message asks: a loan without an end is no loan
LONGEST_S = 30.0


def key_pack(bay: str, lease_s: float, on: bool, tone: bool | None = None, cut: bool | None = None) -> bytes:
    """The pack that lends the key for ``lease_s`` seconds (``on``), or takes it back at once.

    ``tone`` and ``cut`` are for nodes that can gate a tone generator or open a supply relay; None leaves them out.
    """
    records = [Record(bn=f"{bay}/", n="key", vb=on)]
    if on:
        records.append(Record(n="lease", u="s", v=lease_s))
    if tone is not None:
        records.append(Record(n="tone", vb=tone))
    if cut is not None:
        records.append(Record(n="cut", vb=cut))
    return pack_of(records)


class NodeLease:
    """What a node does with what it hears about its key. ``clock_s`` is the node's own monotonic clock.

    ``tone`` holds only under the lease; ``cut`` stays until it is told otherwise.
    """

    def __init__(self, bay: str, longest_s: float = LONGEST_S) -> None:
        self.bay = bay
        self.tone = False
        self.cut = False
        self._longest_s = longest_s
        self._ends_s: float | None = None

    def hear(self, pack: bytes, clock_s: float) -> None:
        """Take in one pack; records of other bays and other names are passed over.

        Raises PackRefused, and changes nothing, for a pack that breaks RFC 8428, for a key, tone or cut that is no
        boolean, and for a key lent without a lease in seconds.
        """
        said: dict[str, bool] = {}
        lease_s: float | None = None
        prefix = f"{self.bay}/"
        for record in resolve(decode(pack), now_s=0.0):
            name = str(record.n)
            if not name.startswith(prefix):
                continue
            word = name[len(prefix) :]
            if word == "lease":
                lease_s = self._lease(record, name)
            elif word in ("key", "tone", "cut"):
                if record.vb is UNSET:
                    raise PackRefused("wants a boolean", name)
                said[word] = record.vb
        if said.get("key") and lease_s is None:
            raise PackRefused("the key is lent with a lease only", f"{prefix}key")
        self.cut = said.get("cut", self.cut)
        if not self.keyed(clock_s):
            self.tone = False
        if said.get("key") is True and lease_s is not None:
            self._ends_s = clock_s + min(lease_s, self._longest_s)
            self.tone = said.get("tone", self.tone)
        elif said.get("key") is False:
            self._ends_s, self.tone = None, False
        elif "tone" in said and self._ends_s is not None:
            self.tone = said["tone"]

    def keyed(self, clock_s: float) -> bool:
        """Whether the key is lent at ``clock_s``; once a loan has ended only a new one keys again."""
        if self._ends_s is not None and clock_s >= self._ends_s:
            self._ends_s, self.tone = None, False
        return self._ends_s is not None

    @staticmethod
    def _lease(record: Record, name: str) -> float:
        if record.u != "s" or record.v is UNSET or record.v <= 0:
            raise PackRefused("wants a number of seconds above zero", name)
        return record.v
