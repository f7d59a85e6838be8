"""One bay's pipeline, closed over a twin in its own time: the key follows the plan, a fault takes it back."""

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import pytest

from alerts.types import Event, Finding
from daemon.api.models import BayStatus
from daemon.bay import Bay
from daemon.errors import Refused
from daemon.plan import Plan
from daemon.soak import Begun, Ended, Waited
from sensors.intake import Intake
from sensors.lease import key_pack
from sensors.twin.instant import InstantBay
from sensors.twin.spec import UnitSpec
from sensors.types import KEY, LinkStats

START_NS = 1_764_000_000 * 10**9

SHORT = Plan.from_toml(
    """
    [[phase]]
    drive = "off"
    minutes = 0.2
    [[phase]]
    drive = "idle"
    minutes = 0.5
    [[phase]]
    drive = "carrier"
    minutes = 2
    [[phase]]
    drive = "carrier"
    minutes = 1
    on_s = 10
    off_s = 10
    """
)


@dataclass
class World:
    """A twin, its bay between, and all that the bay did and said."""

    twin: InstantBay
    words: list[tuple[float, str]] = field(default_factory=list)
    said: list[Finding] = field(default_factory=list)
    ended: list[Ended] = field(default_factory=list)
    begun: list[Begun] = field(default_factory=list)
    deaf: bool = False
    sample_s: float = 0.5

    def __post_init__(self) -> None:
        self.bay = Bay(self.twin.node.spec.bay, self, self, sample_s=self.sample_s, tone=True)
        self.intake = Intake({self.bay.name: {}}, LinkStats())

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """Lend the twin its key."""
        self.words.append((self.twin.clock_s, "lend"))
        if not self.deaf:
            self.twin.hear(key_pack(bay, lease_s, on=True, tone=tone))

    def unkey(self, bay: str) -> None:
        """Take the twin's key back."""
        self.words.append((self.twin.clock_s, "unkey"))
        if not self.deaf:
            self.twin.hear(key_pack(bay, 0.0, on=False))

    def begin(self, begun: Begun) -> None:
        """Note a beginning."""
        self.begun.append(begun)

    def say(self, job: int, at_s: float, finding: Finding) -> None:
        """Note a finding."""
        self.said.append(finding)

    def wait(self, waited: Waited) -> None:
        """The plan stands still, or goes on."""

    def end(self, ended: Ended) -> None:
        """Note an end."""
        self.ended.append(ended)

    def now_ns(self) -> int:
        """The twin's time, UTC."""
        return START_NS + int(self.twin.clock_s * 1e9)

    def run(self, seconds: float, *, until_end: bool = False) -> None:
        """Let time pass, a frame each sample time, ticks between."""
        for _ in range(int(seconds / self.sample_s)):
            pack = self.twin.advance(self.sample_s)
            self.bay.tick(self.twin.clock_s - 0.01, self.now_ns() - 10**7)
            for frame in self.intake.feed(pack, self.twin.clock_s, self.now_ns()):
                self.bay.take(frame)
            if until_end and self.ended:
                return

    def start(self, plan: Plan, **words: Any) -> None:
        """Begin a soak now."""
        self.bay.start(plan, self.twin.clock_s, self.now_ns(), job=1, **words)


def world(sample_s: float = 0.5, **spec: Any) -> World:
    """A world around one twin, that has been heard twice."""
    made = World(InstantBay(UnitSpec(bay="bay-1", seed=1, thermal_scale=0.1, **spec), START_NS), sample_s=sample_s)
    made.run(2 * sample_s)
    return made


def test_a_healthy_unit_passes_with_its_figures() -> None:
    """Plan to the end, verdict pass, nothing said above an advisory, key-down as the plan asks."""
    w = world()
    w.start(SHORT, number="7", unit="MR-25 no. 007")
    w.run(SHORT.total_s + 10, until_end=True)
    (ended,) = w.ended
    assert ended.verdict == "pass", ended.reasons
    assert not w.said
    assert ended.figures["key_down_s"] == pytest.approx(SHORT.key_down_s, rel=0.03)
    assert w.bay.status is BayStatus.DONE
    assert not w.twin.node.radio.keyed


def test_the_key_follows_the_plan_and_is_renewed_within_a_third_of_the_lease() -> None:
    """First lent at the idle phase, renewed about each second, taken back at each rest."""
    w = world()
    w.start(SHORT)
    w.run(SHORT.total_s + 10, until_end=True)
    first_s = next(t for t, word in w.words if word == "lend")
    assert first_s == pytest.approx(1 + 12, abs=0.6)
    lends = [t for t, word in w.words if word == "lend" and t < first_s + 30]
    assert max(b - a for a, b in pairwise(lends)) <= 1.0
    assert w.bay.strip
    assert len(w.bay.strip.points) > 50


def test_a_fault_takes_the_key_back_in_the_same_turn_and_ends_the_soak() -> None:
    """A load that goes bad: unkey comes with the trip, the verdict names the load, the twin is unkeyed."""
    w = world(fault=[{"kind": "bad-load", "gamma": 0.6, "at_s": 60, "counts": "key-down"}])
    w.start(SHORT)
    w.run(SHORT.total_s + 10, until_end=True)
    (trip,) = [f for f in w.said if f.event is Event.TRIP]
    assert trip.rule == "reflected-power"
    assert w.words[-1][1] == "unkey"
    assert (w.words[-1][0] - 0.5) * 1e9 <= trip.time_ns - START_NS <= w.words[-1][0] * 1e9 + 1e6
    assert w.ended[0].verdict == "incomplete"
    assert w.bay.status is BayStatus.TRIPPED
    assert not w.twin.node.radio.keyed


def test_silence_unkeys_within_the_lease() -> None:
    """No frame comes any more: the tick alone raises link-lost and takes the key back no later than the lease."""
    w = world()
    w.start(SHORT)
    w.run(30)
    assert w.bay.lent
    silent_from_s = w.twin.clock_s
    t = silent_from_s
    while w.bay.lent:
        t += 0.05
        w.bay.tick(t, START_NS + int(t * 1e9))
    assert t - silent_from_s <= w.bay.lease_s
    assert w.said[-1].rule == "link-lost"


def test_an_ask_rests_the_bay_until_a_person_has_done_it() -> None:
    """The bay waits unkeyed, its plan stands still; done lets it run on, and its whole key-down is delivered."""
    plan = Plan.from_toml('[[phase]]\ndrive="carrier"\nminutes=1\nask="Set SSB, two-tone on"')
    w = world()
    w.start(plan)
    w.run(40)
    assert w.bay.status is BayStatus.WAITING
    assert w.bay.course is not None
    assert w.bay.course.ask == "Set SSB, two-tone on"
    assert w.bay.course.elapsed_s == 0.0
    assert not w.twin.node.radio.keyed
    w.bay.done(w.twin.clock_s)
    w.run(5)
    assert w.twin.node.radio.keyed
    w.run(80, until_end=True)
    assert w.ended[0].verdict == "pass", w.ended[0].reasons
    with pytest.raises(Refused, match="not waiting"):
        w.bay.done(w.twin.clock_s)


def test_a_bay_that_is_not_heard_is_not_keyed() -> None:
    """Refused, with what to do; and a second soak on a bay that soaks is refused too."""
    w = World(InstantBay(UnitSpec(bay="bay-1"), START_NS))
    with pytest.raises(Refused, match="nothing is heard from bay-1"):
        w.start(SHORT)
    assert not w.words
    w.run(1)
    w.start(SHORT)
    with pytest.raises(Refused, match="is soaking already"):
        w.start(SHORT)


def test_a_person_who_unkeys_ends_the_soak_as_incomplete() -> None:
    """Drop says unkey at once, whatever the bay does, and the verdict says who."""
    w = world()
    w.start(SHORT)
    w.run(30)
    w.bay.drop(w.twin.clock_s, w.now_ns())
    assert w.words[-1] == (w.twin.clock_s, "unkey")
    assert w.ended[0].verdict == "incomplete"
    assert "unkeyed by a person" in " ".join(w.ended[0].reasons)
    w.bay.drop(w.twin.clock_s, w.now_ns())
    assert len(w.ended) == 1


def test_a_node_that_did_not_hear_is_told_again_to_unkey() -> None:
    """While the node itself says keyed and the key is not lent, unkey is repeated."""
    w = world()
    w.start(SHORT)
    w.run(30)
    w.deaf = True
    w.bay.drop(w.twin.clock_s, w.now_ns())
    before = len(w.words)
    w.run(2)  # the lease has not ended yet: the node says that it is keyed
    assert w.bay.last is not None
    assert w.bay.last.values[KEY] == 1.0
    assert [word for _, word in w.words[before:]] == ["unkey"] * (len(w.words) - before) != []


@pytest.mark.parametrize("sample_s", [0.1, 0.5, 2.0])
def test_a_stuck_key_is_seen_at_the_plan_s_end_and_fails_the_unit(sample_s: float) -> None:
    """The key sticks during the last key-down: the look on after the plan sees it, however slow the node."""
    plan = Plan.from_toml('[[phase]]\ndrive="carrier"\nminutes=1')
    w = world(sample_s, fault=[{"kind": "stuck-key", "at_s": 30, "counts": "key-down"}])
    w.start(plan)
    w.run(80, until_end=True)
    assert w.said[-1].rule == "keying"
    assert w.ended[0].verdict == "fail"
