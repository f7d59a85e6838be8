"""What is wrong with the daemon itself: said once, returned when it is well again, of the whole rack."""

from alerts.types import Event, Finding, Priority
from daemon.said import RACK, cut_short
from daemon.selfwatch import NOT_KEPT, WALL_CLOCK, SelfWatch
from tests.daemon.alert_rig import World, soaking_world

START_NS = 1_764_054_000 * 10**9


class Machine:
    """A disk and two clocks."""

    def __init__(self) -> None:
        self.trouble = ""
        self.clock_s = 100.0
        self.step_s = 0.0
        self.said: list[Finding] = []
        self.watch = SelfWatch(self.said.append, lambda: self.trouble)

    def live(self, seconds: float) -> list[tuple[str, str]]:
        """Time passes in ticks; what was said in it."""
        since = len(self.said)
        for _ in range(round(seconds / 0.05)):
            self.clock_s += 0.05
            self.watch.look(self.clock_s, START_NS + round((self.clock_s + self.step_s) * 1e9))
        return [(finding.rule, str(finding.event)) for finding in self.said[since:]]


def test_a_disk_that_takes_nothing_is_said_once_and_returns_when_it_does() -> None:
    """However its sentence changes meanwhile: how much waits grows with every frame."""
    machine = Machine()
    assert machine.live(3) == []
    machine.trouble = "Readings can't be written to disk: database or disk is full. 12 wait in memory."
    assert machine.live(2) == [(NOT_KEPT, "raised")]
    assert "disk is full" in machine.said[0].text
    machine.trouble = "Readings can't be written to disk: database or disk is full. 900 wait in memory."
    assert machine.live(5) == []
    machine.trouble = ""
    assert machine.live(2) == [(NOT_KEPT, "returned")]


def test_a_step_of_the_wall_clock_is_said_either_way_and_a_slow_correction_is_not() -> None:
    """An hour ahead, an hour back; half a second a second is what a clock that is slewed never does."""
    machine = Machine()
    machine.live(2)
    for step_s, words in ((3600.0, "set ahead by 3600 s"), (-3600.0, "set back by 3600 s")):
        machine.step_s += step_s
        assert machine.live(2) == [(WALL_CLOCK, "raised"), (WALL_CLOCK, "returned")]
        assert words in machine.said[-1].text
    for _ in range(20):
        machine.step_s += 0.5
        assert machine.live(1) == []


def test_the_rack_s_own_alert_needs_no_soak_and_outlives_a_kill_until_it_is_not_seen_again() -> None:
    world = World()
    world.book.hear(0, Finding(1, RACK, NOT_KEPT, Event.RAISED, Priority.WARNING, 1.0, 1.0, "s", "disk full", ""))
    assert world.state(NOT_KEPT, RACK) == "unacknowledged"
    world.kill()
    assert world.state(NOT_KEPT, RACK) == "unacknowledged"
    world.wait(60)
    assert world.state(NOT_KEPT, RACK) == "returned"


def test_a_daemon_that_was_killed_is_one_alert_for_all_its_bays_over_all_their_links() -> None:
    """One cause, one alert: bays on other links are folded under the first too, which a lost cable's are not."""
    world = soaking_world()
    world.kill()
    for bay in ("bay-1", "bay-2", "bay-3"):
        world.book.hear(7, cut_short(bay, 132.4, 1))
    assert world.state("link-lost", "bay-1") == "latched"
    assert [world.state("link-lost", bay) for bay in ("bay-2", "bay-3")] == ["suppressed"] * 2
    assert world.kept.told() == [("link-lost", "raised")]
    assert "132 s after its start" in world.one("link-lost").kept.text
