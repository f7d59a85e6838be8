"""A book of alerts with a memory for a store and a clock of its own."""

from alerts.types import Event, Finding, Priority
from daemon.alert import Alert, view
from daemon.alertbook import AlertBook
from daemon.api.alert_models import AlertChangeView
from daemon.store.items import AlertChanged, AlertKept, Item

START_NS = 1_764_054_000 * 10**9
LINKS = {"bay-1": "left", "bay-2": "left", "bay-3": "right"}


class Memory:
    """A store's queue, and what a store would make of it."""

    def __init__(self) -> None:
        self.changes: list[AlertChanged] = []
        self.last_alert = 0

    def put(self, item: Item) -> None:
        """Take an item in."""
        assert isinstance(item, AlertChanged)
        self.changes.append(item)

    def next_alert(self) -> int:
        """Count on."""
        self.last_alert += 1
        return self.last_alert

    def next_change(self) -> int:
        """Count on."""
        return len(self.changes) + 1

    def open(self) -> list[AlertKept]:
        """Alerts that are not normal, as a catalog would have them."""
        rows = {change.alert.id: change.alert for change in self.changes}
        return [row for row in rows.values() if row.state != "normal"]

    def histories(self) -> dict[int, list[AlertChangeView]]:
        """Changes by alert, as a catalog would have them."""
        found: dict[int, list[AlertChangeView]] = {}
        for change in self.changes:
            found.setdefault(change.alert.id, []).append(view(change))
        return found

    def told(self) -> list[tuple[str, str]]:
        """What people were told, in order: rule and change."""
        return [(change.alert.rule, change.change) for change in self.changes if change.told]


class World:
    """A book with a clock of its own."""

    def __init__(self) -> None:
        self.kept = Memory()
        self.now_s = 1000.0
        self.book = self.made()

    def made(self) -> AlertBook:
        """A book as the daemon makes it at its start."""
        return AlertBook(
            self.kept,
            self.kept.open(),
            self.kept.histories(),
            link_of=LINKS,
            clock=lambda: self.now_s,
            wall_ns=lambda: START_NS + round(self.now_s * 1e9),
        )

    def kill(self) -> None:
        """The daemon is killed and started again, its monotonic clock going on."""
        self.book = self.made()

    def say(
        self,
        rule: str,
        event: str = "raised",
        priority: str = "warning",
        *,
        bay: str = "bay-1",
        subject: str = "",
        job: int = 7,
    ) -> None:
        """A rule has spoken."""
        text = f"{rule} {event}"
        at_ns = START_NS + round(self.now_s * 1e9)
        finding = Finding(at_ns, bay, rule, Event(event), Priority(priority), 2.0, 1.0, "A", text, subject)
        self.book.hear(job, finding)

    def wait(self, seconds: float) -> None:
        """Time passes."""
        self.now_s += seconds
        self.book.tick()

    def one(self, rule: str, bay: str = "bay-1") -> Alert:
        """The open alert of a rule."""
        (found,) = [a for a in self.book.open.values() if (a.kept.rule, a.kept.bay) == (rule, bay)]
        return found

    def state(self, rule: str, bay: str = "bay-1") -> str:
        """The state that is shown."""
        return self.one(rule, bay).kept.state


def soaking_world() -> World:
    """A soak runs on each bay."""
    made = World()
    for bay in LINKS:
        made.book.begin(bay)
    return made
