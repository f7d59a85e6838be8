"""Any course of findings, orders, kills and time: no alert that stands is lost, none is told twice."""

import contextlib
from collections.abc import Callable

import msgspec
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from alerts.folding import RANK, REALARM_S
from alerts.rules import BETWEEN_SOAKS
from daemon import alertorders
from daemon.alertbook import AlertBook
from daemon.errors import Refused
from tests.daemon.alert_rig import LINKS, World

RULES = ("over-current", "supply", "power-fade", "over-temperature", "link-lost", "keying", "current-imbalance")
ORDERS: dict[str, Callable[[AlertBook, int], None]] = {
    "acknowledge": lambda book, n: alertorders.acknowledge(book, n, "Ann", "n"),
    "reset": lambda book, n: alertorders.reset(book, n, "Ann", "n"),
    "shelve": lambda book, n: alertorders.shelve(book, n, 1, "Ann", "n"),
    "unshelve": lambda book, n: alertorders.unshelve(book, n, "Ann", "n"),
    "out": lambda book, n: alertorders.out_of_service(book, n, "Ann", "n"),
    "in": lambda book, n: alertorders.in_service(book, n, "Ann", "n"),
}


class Lives(RuleBasedStateMachine):
    """Three bays, rules and people in any order, kills in between: the book against a plain list of what stands."""

    @initialize()
    def start(self) -> None:
        """Soaks on all bays."""
        self.world = World()
        self.stands: set[tuple[str, str, str]] = set()  # bay, rule, priority
        self.soaking: set[str] = set()
        self.looked = 0
        self.told: dict[tuple[str, str], tuple[int, int]] = {}
        for bay in LINKS:
            self.begin(bay)

    @rule(bay=st.sampled_from(list(LINKS)))
    def begin(self, bay: str) -> None:
        """A new judge: what stood with the old one is over."""
        if bay not in self.soaking:
            self.soaking.add(bay)
            self.stands = {one for one in self.stands if one[0] != bay}
            self.told = {key: last for key, last in self.told.items() if key[0] != bay}
            self.world.book.begin(bay)

    @rule(bay=st.sampled_from(list(LINKS)))
    def end(self, bay: str) -> None:
        """What only a soak judges is over."""
        self.soaking.discard(bay)
        self.stands = {one for one in self.stands if one[0] != bay or one[1] in BETWEEN_SOAKS}
        self.world.book.end(bay)

    @rule(
        bay=st.sampled_from(list(LINKS)),
        name=st.sampled_from(RULES),
        priority=st.sampled_from(["warning", "trip"]),
        back=st.booleans(),
    )
    def hear(self, bay: str, name: str, priority: str, back: bool) -> None:
        """A condition comes or goes."""
        if bay not in self.soaking and name not in BETWEEN_SOAKS:
            return
        one = (bay, name, priority)
        if back is (one in self.stands):
            (self.stands.discard if back else self.stands.add)(one)
            self.world.say(name, "returned" if back else "raised", priority, bay=bay)

    @rule(pick=st.integers(0, 20), order=st.sampled_from(list(ORDERS)))
    def order(self, pick: int, order: str) -> None:
        """A person does something, as far as it can be done."""
        numbers = sorted(self.world.book.open)
        if numbers:
            with contextlib.suppress(Refused):
                ORDERS[order](self.world.book, numbers[pick % len(numbers)])

    @rule(seconds=st.sampled_from([0.5, 5.0, 70.0]))
    def wait(self, seconds: float) -> None:
        """Time passes."""
        self.world.wait(seconds)

    @rule()
    def kill(self) -> None:
        """All soaks are cut short; what is judged between them is raised anew by what still holds."""
        self.soaking.clear()
        self.stands = {one for one in self.stands if one[1] in BETWEEN_SOAKS}
        open_keys = {(a.kept.bay, a.kept.rule) for a in self.world.book.open.values()}
        self.told = {key: last for key, last in self.told.items() if key in open_keys}
        self.world.kill()
        for bay, name, priority in sorted(self.stands):
            self.world.say(name, "raised", priority, bay=bay, job=0)

    @invariant()
    def nothing_active_is_lost_and_nothing_else_stands(self) -> None:
        """What stands is open and active, shown, hidden by a person, or under an open alert."""
        book = self.world.book
        active = {(a.kept.bay, a.kept.rule) for a in book.open.values() if a.life.active}
        assert active == {(bay, name) for bay, name, _ in self.stands}
        for alert in book.open.values():
            assert alert.kept.state == alert.life.state != "normal"
            if alert.kept.cause is not None:
                assert alert.kept.cause in book.open
                assert alert in book.under(book.open[alert.kept.cause])

    @invariant()
    def nothing_is_told_twice_and_what_is_owed_will_be_told(self) -> None:
        """Of one key twice within a minute only if it is worse, a veil was lifted, or a soak or daemon is new."""
        for change in self.world.kept.changes[self.looked :]:
            key = (change.alert.bay, change.alert.rule)
            if change.told:
                last_ns, last_rank = self.told.get(key, (0, -1))
                rank = RANK[change.alert.priority]
                lifted = change.change in ("unshelved", "in-service")
                assert lifted or rank > last_rank or change.time_ns - last_ns >= REALARM_S * 1e9
                self.told[key] = (change.time_ns, rank)
        self.looked = len(self.world.kept.changes)
        late = self.world.book._late
        for number, alert in self.world.book.open.items():
            assert alert.life.due is (number in late)

    @invariant()
    def ids_rise_and_rows_agree_with_the_book(self) -> None:
        """What a catalog would give back is what is open."""
        ids = [change.id for change in self.world.kept.changes]
        assert ids == sorted(set(ids))
        kept = {row.id: msgspec.to_builtins(row) for row in self.world.kept.open()}
        assert kept == {n: msgspec.to_builtins(a.kept) for n, a in self.world.book.open.items()}


TestLives = Lives.TestCase
TestLives.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)
