"""The book of alerts: told once, folded by cause, hidden by people, ended by the soak's end, never lost."""

import contextlib
from collections.abc import Callable

import msgspec
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from alerts.folding import RANK, REALARM_S
from alerts.rules import BETWEEN_SOAKS
from alerts.types import Event, Finding, Priority
from daemon import alertorders
from daemon.alert import Alert
from daemon.alertbook import CONFIRM_S, AlertBook
from daemon.api.alert_models import AlertChangeView
from daemon.errors import NoSuch, Refused
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
        from daemon.alert import view

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


@pytest.fixture
def world() -> World:
    """A soak runs on each bay."""
    made = World()
    for bay in LINKS:
        made.book.begin(bay)
    return made


def test_an_alert_is_told_once_and_lives_until_it_is_seen_and_over(world: World) -> None:
    """Raised, returned, acknowledged: three changes, one telling, and then it is gone from the list."""
    world.say("supply")
    world.say("supply")
    assert world.state("supply") == "unacknowledged"
    assert world.one("supply").kept.text == "supply raised"
    world.say("supply", "returned")
    assert world.state("supply") == "returned"
    assert world.kept.changes[-1].text == "supply returned"
    assert world.one("supply").kept.text == "supply raised", "the list keeps the sentence that says what was wrong"
    alertorders.acknowledge(world.book, 1, "Ann", "fuse was loose")
    assert not world.book.open
    assert [c.change for c in world.kept.changes] == ["raised", "returned", "acknowledged"]
    assert world.kept.told() == [("supply", "raised")]
    last = world.kept.changes[-1]
    assert (last.person, last.note, last.alert.state) == ("Ann", "fuse was loose", "normal")
    world.say("supply")
    assert list(world.book.open) == [2], "an id is never used again"


def test_a_trip_stays_until_a_person_resets_it_with_a_note(world: World) -> None:
    """Also when the soak that it ended is over, and only once its cause has gone."""
    world.say("over-current", priority="trip")
    world.say("over-current", "trip", "trip")
    with pytest.raises(Refused, match="still stands"):
        alertorders.reset(world.book, 1, "Ann", "too soon")
    world.book.end("bay-1")
    assert world.state("over-current") == "latched"
    assert "soak has ended" in world.kept.changes[-1].note
    alertorders.acknowledge(world.book, 1, "Ann", "")
    assert world.state("over-current") == "latched acknowledged"
    alertorders.reset(world.book, 1, "Ann", "device replaced")
    assert not world.book.open
    assert world.kept.told() == [("over-current", "raised")]


def test_a_warning_that_becomes_a_trip_is_told_again_and_is_one_alert(world: World) -> None:
    """Worse is news; the milder step's return alone ends nothing."""
    world.say("over-temperature")
    alertorders.acknowledge(world.book, 1, "Ann", "")
    world.wait(5)
    world.say("over-temperature", priority="trip")
    assert world.kept.told() == [("over-temperature", "raised"), ("over-temperature", "worsened")]
    assert world.state("over-temperature") == "unacknowledged"
    world.say("over-temperature", "returned", "trip")
    assert world.state("over-temperature") == "unacknowledged"
    world.say("over-temperature", "returned")
    assert world.state("over-temperature") == "latched"


def test_a_shorted_device_is_one_alert_with_its_effects_folded_under_it(world: World) -> None:
    """Over-current first; imbalance, supply and fade within a second are told of to nobody, and kept."""
    world.say("over-current", priority="trip")
    for effect in ("current-imbalance", "supply", "power-fade"):
        world.wait(0.3)
        world.say(effect)
        assert world.state(effect) == "suppressed"
        assert world.one(effect).kept.cause == 1
    assert world.kept.told() == [("over-current", "raised")]
    assert world.book.unseen == 1
    world.book.end("bay-1")
    alertorders.reset(world.book, 1, "Ann", "device replaced")
    assert not world.book.open


def test_an_earlier_warning_is_folded_under_the_trip_that_explains_it(world: World) -> None:
    """The list then has one alert: the one that presses."""
    world.say("supply")
    world.wait(1)
    world.say("over-current", priority="trip")
    assert world.state("supply") == "suppressed"
    assert world.kept.told() == [("supply", "raised"), ("over-current", "raised")]


def test_an_effect_that_gets_worse_than_its_cause_stands_for_itself(world: World) -> None:
    """A trip is never hidden under a warning."""
    world.say("supply")
    world.wait(1)
    world.say("power-fade")
    assert world.state("power-fade") == "suppressed"
    world.say("power-fade", priority="trip")
    assert world.state("power-fade") == "unacknowledged"
    assert world.kept.told()[-1] == ("power-fade", "worsened")


def test_an_effect_that_outlives_its_cause_is_told_then(world: World) -> None:
    """The cause is acknowledged and over, and what was folded under it still stands."""
    world.say("supply")
    world.say("power-fade")
    alertorders.acknowledge(world.book, 1, "Ann", "")
    assert world.kept.told() == [("supply", "raised")]
    world.say("supply", "returned")
    assert world.state("power-fade") == "acknowledged", "it was seen with its cause"
    world.say("supply", subject="again")
    world.say("bias-drift")
    world.say("supply", "returned", subject="again")
    alertorders.acknowledge(world.book, world.one("supply").kept.id, "Ann", "")
    assert world.state("bias-drift") == "acknowledged"


def test_an_effect_that_came_after_the_acknowledgement_is_told_when_its_cause_is_over(world: World) -> None:
    """Nobody has seen that one."""
    world.say("supply")
    alertorders.acknowledge(world.book, 1, "Ann", "")
    world.say("power-fade")
    world.say("supply", "returned")
    assert world.state("power-fade") == "unacknowledged"
    assert world.kept.told() == [("supply", "raised"), ("power-fade", "released")]


def test_a_lost_link_suppresses_what_it_makes_unknowable_until_packs_come_again(world: World) -> None:
    """Neither acknowledged with it nor told again after it; a trip that was there stays shown."""
    world.say("supply")
    world.say("over-temperature", priority="trip")
    world.say("link-lost", subject="link")
    assert (world.state("supply"), world.state("over-temperature")) == ("suppressed", "unacknowledged")
    alertorders.acknowledge(world.book, world.one("link-lost").kept.id, "Ann", "")
    world.say("link-lost", "returned", subject="link")
    assert world.state("supply") == "unacknowledged"
    assert [rule for rule, _ in world.kept.told()] == ["supply", "over-temperature", "link-lost"]


def test_all_bays_of_a_lost_link_are_one_alert(world: World) -> None:
    """The cable of two bays is pulled; a bay on another link that is missed too stands for itself."""
    for bay in ("bay-1", "bay-2", "bay-3"):
        world.say("link-lost", subject="link", bay=bay)
    assert [world.state("link-lost", bay) for bay in LINKS] == ["unacknowledged", "suppressed", "unacknowledged"]
    world.say("link-lost", "returned", subject="link", bay="bay-1")
    assert world.state("link-lost", "bay-2") == "unacknowledged", "still lost: no longer for that cause"


def test_chatter_is_told_once_a_minute_at_the_most(world: World) -> None:
    """An alert that comes and goes every seven seconds, acknowledged each time, for ten minutes."""
    began_s = world.now_s
    while world.now_s < began_s + 600:
        world.say("supply")
        alertorders.acknowledge(world.book, world.one("supply").kept.id, "Ann", "")
        world.wait(2)
        world.say("supply", "returned")
        world.wait(5)
    assert len(world.kept.told()) <= 600 / REALARM_S


def test_what_came_back_too_soon_to_be_told_is_told_if_it_stays(world: World) -> None:
    """A minute after the last word of it."""
    world.say("supply")
    alertorders.acknowledge(world.book, 1, "Ann", "")
    world.wait(5)
    world.say("supply", "returned")
    world.wait(5)
    world.say("supply")
    assert world.state("supply") == "unacknowledged"
    assert len(world.kept.told()) == 1
    world.wait(REALARM_S)
    assert len(world.kept.told()) == 2
    world.wait(REALARM_S)
    assert len(world.kept.told()) == 2


def test_a_new_soak_makes_the_same_alert_news_again(world: World) -> None:
    """The same trip, seconds later, of another soak: told."""
    world.say("over-current", priority="trip")
    world.book.end("bay-1")
    world.book.begin("bay-1")
    world.wait(5)
    world.say("over-current", priority="trip", job=8)
    assert world.kept.told() == [("over-current", "raised")] * 2
    assert (list(world.book.open), world.one("over-current").kept.job) == ([1], 8)


def test_a_shelf_has_an_end_and_what_still_stands_then_is_told(world: World) -> None:
    """Hidden for ten minutes, with reason and end; not told of in between, whatever happens beneath."""
    world.say("supply")
    alertorders.shelve(world.book, 1, 10, "Ann", "known: old supply")
    kept = world.one("supply").kept
    assert (kept.state, kept.shelved_until_ns) == ("shelved", START_NS + round((world.now_s + 600) * 1e9))
    world.say("supply", "returned")
    world.say("supply")
    with pytest.raises(Refused, match="shelved"):
        alertorders.acknowledge(world.book, 1, "Ann", "")
    world.wait(599)
    assert world.state("supply") == "shelved"
    world.wait(1)
    assert world.state("supply") == "unacknowledged"
    assert world.kept.told() == [("supply", "raised"), ("supply", "unshelved")]


def test_a_shelved_alert_that_is_over_ends_with_its_shelf(world: World) -> None:
    """And stays in the list until then, for its key is hidden."""
    world.say("supply")
    alertorders.shelve(world.book, 1, 10, "Ann", "known")
    world.say("supply", "returned")
    assert world.state("supply") == "shelved"
    alertorders.unshelve(world.book, 1, "Ann", "")
    assert not world.book.open


def test_out_of_service_lasts_until_somebody_puts_it_back_and_frees_its_effects(world: World) -> None:
    """What was folded under it is told."""
    world.say("sensor-fault")
    world.say("over-temperature")
    alertorders.out_of_service(world.book, 1, "Ann", "new sensor is ordered")
    assert world.state("over-temperature") == "unacknowledged"
    world.wait(10**6)
    assert world.state("sensor-fault") == "out of service"
    alertorders.in_service(world.book, 1, "Ann", "fitted")
    assert world.state("sensor-fault") == "unacknowledged"
    assert [rule for rule, _ in world.kept.told()] == ["sensor-fault", "over-temperature", "sensor-fault"]


def test_the_soak_s_end_returns_what_only_a_soak_judges(world: World) -> None:
    """Over-temperature is judged on; a supply warning is not, and does not stand for ever."""
    world.say("supply")
    world.say("over-temperature")
    world.book.end("bay-1")
    assert (world.state("supply"), world.state("over-temperature")) == ("returned", "unacknowledged")
    world.say("reflected-power")
    assert world.state("reflected-power") == "returned", "said of the frame that ended the soak"
    world.say("over-temperature", "returned")
    assert world.state("over-temperature") == "returned"


def test_a_stuck_key_between_soaks_is_an_alert_without_a_job() -> None:
    """The finding that goes to no job."""
    world = World()
    world.say("keying", priority="trip", subject="stuck key", job=0)
    assert (world.state("keying"), world.one("keying").kept.job) == ("unacknowledged", None)


def test_after_a_kill_everything_is_where_it_was_and_nothing_is_told_again(world: World) -> None:
    """Stuck key, shelf, fold and latch; what only the cut-off soak judged has returned."""
    world.say("keying", priority="trip", subject="stuck key")
    world.say("reflected-power")
    world.say("current-imbalance")
    world.say("sensor-fault")
    alertorders.shelve(world.book, world.one("sensor-fault").kept.id, 10, "Ann", "known")
    told = world.kept.told()
    world.kill()
    assert world.state("keying") == "unacknowledged"
    assert world.state("reflected-power") == "returned"
    assert world.state("current-imbalance") == "suppressed"
    assert world.state("sensor-fault") == "shelved"
    world.say("keying", priority="trip", subject="stuck key", job=0)
    world.wait(CONFIRM_S + 1)
    assert world.state("keying") == "unacknowledged", "it was raised anew"
    assert world.kept.told() == told
    world.wait(600)
    assert all(alert.kept.rule != "sensor-fault" for alert in world.book.open.values())


def test_what_is_not_seen_again_after_a_start_returns_and_says_why(world: World) -> None:
    """A stuck key that came up while no daemon looked stays latched; a warning that nobody had seen stays listed."""
    world.say("keying", priority="trip", subject="stuck key")
    world.say("over-temperature")
    world.kill()
    world.wait(CONFIRM_S + 1)
    assert (world.state("keying"), world.state("over-temperature")) == ("latched", "returned")
    assert "since the daemon was started" in world.kept.changes[-1].note


def test_an_order_for_an_alert_that_is_not_open_names_those_that_are(world: World) -> None:
    """404 at the API."""
    world.say("supply")
    with pytest.raises(NoSuch, match="known: 1"):
        alertorders.acknowledge(world.book, 5, "Ann", "")
    alertorders.acknowledge(world.book, 1, "Ann", "")
    with pytest.raises(Refused, match="acknowledged already"):
        alertorders.acknowledge(world.book, 1, "Ann", "")


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
