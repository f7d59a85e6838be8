"""The supply cut, closed over twins in their own time: a radio that goes on drawing current when it was unkeyed."""

from dataclasses import dataclass, field
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
from sensors.types import CUT, DRAINS, Frame, LinkStats

START_NS = 1_764_000_000 * 10**9
SAMPLE_S = 0.25
#: from the unkey to the cut, as the README has it
PATIENCE_S = 2.0
PLAN = Plan.from_toml('[[phase]]\ndrive = "carrier"\nminutes = 5\n')
RESTS = Plan.from_toml('[[phase]]\ndrive = "carrier"\nminutes = 2\non_s = 10\noff_s = 10\n')
STUCK = {"kind": "stuck-key", "at_s": 0}
SHORTED = {"kind": "shorted-device", "at_s": 8}


@dataclass
class World:
    """A twin with a supply relay, its bay, and all that the bay did and said."""

    twin: InstantBay
    words: list[tuple[float, str]] = field(default_factory=list)
    said: list[Finding] = field(default_factory=list)
    ended: list[Ended] = field(default_factory=list)
    frames: list[Frame] = field(default_factory=list)
    deaf: bool = False

    def __post_init__(self) -> None:
        self.intake = Intake({"bay-1": {}}, LinkStats())
        self.restart()

    def restart(self) -> None:
        """A daemon that knows nothing."""
        self.bay = Bay("bay-1", self, self, sample_s=SAMPLE_S, tone=True, relay=self)

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """Lend the key."""
        self._tell("lend", key_pack(bay, lease_s, on=True, tone=tone))

    def unkey(self, bay: str) -> None:
        """Take the key back."""
        self._tell("unkey", key_pack(bay, 0.0, on=False))

    def cut(self, bay: str, opened: bool) -> None:
        """Open or close the relay."""
        self._tell("cut" if opened else "release", key_pack(bay, 0.0, on=False, cut=opened))

    def _tell(self, word: str, pack: bytes) -> None:
        self.words.append((self.twin.clock_s, word))
        if not self.deaf:
            self.twin.hear(pack)

    def begin(self, begun: Begun) -> None:
        """A soak has begun."""

    def say(self, job: int, at_s: float, finding: Finding) -> None:
        """Note a finding."""
        self.said.append(finding)

    def wait(self, waited: Waited) -> None:
        """The plan stands still, or goes on."""

    def end(self, ended: Ended) -> None:
        """Note an end."""
        self.ended.append(ended)

    def run(self, seconds: float) -> None:
        """Let time pass."""
        for _ in range(round(seconds / SAMPLE_S)):
            pack = self.twin.advance(SAMPLE_S)
            for frame in self.intake.feed(pack, self.twin.clock_s, self.now_ns()):
                self.frames.append(frame)
                self.bay.take(frame)

    def now_ns(self) -> int:
        """The twin's time, UTC."""
        return START_NS + int(self.twin.clock_s * 1e9)

    def start(self, plan: Plan = PLAN) -> None:
        """Begin a soak."""
        self.bay.start(plan, self.twin.clock_s, self.now_ns(), job=1)

    def drop(self) -> None:
        """A person unkeys."""
        self.bay.drop(self.twin.clock_s, self.now_ns())

    def release(self, note: str = "the relay had welded; changed it") -> None:
        """A person releases the cut."""
        self.bay.release(self.twin.clock_s, self.now_ns(), "Ana", note)

    def told(self, word: str) -> list[float]:
        """When the node was told so."""
        return [at_s for at_s, said in self.words if said == word]

    def current_a(self) -> float:
        """All drain current now."""
        return sum(self.frames[-1].values[DRAINS][:2])

    def cuts(self) -> list[Finding]:
        """What was said of the cut."""
        return [finding for finding in self.said if finding.subject == "supply cut"]


def world(**spec: Any) -> World:
    """A world whose twin has been heard."""
    made = World(InstantBay(UnitSpec(bay="bay-1", seed=1, **spec), START_NS))
    made.run(1)
    return made


def test_a_stuck_key_is_cut_off_two_seconds_after_the_unkey_and_not_before() -> None:
    """A person unkeys, the contact has welded: the relay opens within a sample of the two seconds, current ends."""
    w = world(fault=[STUCK])
    w.start()
    w.run(5)
    w.drop()
    dropped_s = w.twin.clock_s
    w.run(PATIENCE_S - SAMPLE_S)
    assert not w.told("cut")
    assert w.current_a() > 0.4  # no tone any more: the idle current
    w.run(2 * SAMPLE_S)
    assert w.told("cut")[0] - dropped_s == pytest.approx(PATIENCE_S, abs=SAMPLE_S)
    w.run(1)
    assert w.current_a() < 0.1
    assert w.frames[-1].values[CUT] == 1.0
    (raised,) = w.cuts()
    assert (raised.rule, raised.event, raised.priority) == ("keying", Event.RAISED, "trip")
    assert "A of drain current" in raised.text


def test_a_shorted_device_is_tripped_and_then_cut_off() -> None:
    """Over-current trips and fails the unit; current that the unkey does not end is ended by the relay."""
    w = world(fault=[SHORTED])
    w.start()
    w.run(20)
    (ended,) = w.ended
    assert ended.verdict == "fail"
    assert w.told("cut")
    assert w.told("cut")[0] - w.told("unkey")[0] == pytest.approx(PATIENCE_S, abs=2 * SAMPLE_S)
    assert w.current_a() < 0.1


def test_a_key_that_sticks_in_a_plan_s_rest_is_cut_off_and_ends_the_soak() -> None:
    """Also where the cut comes before the rule's own trip, the soak is over, and failed."""
    w = world(fault=[STUCK])
    w.start(RESTS)
    w.run(20)
    assert w.told("cut")
    (ended,) = w.ended
    assert ended.verdict == "fail"
    assert w.bay.status is BayStatus.TRIPPED
    assert len([f for f in w.said if f.event is Event.TRIP]) == 1


def test_a_healthy_radio_is_never_cut_off() -> None:
    """Rests, a drop under full power, and time after it: the relay is told nothing."""
    w = world()
    w.start(RESTS)
    w.run(35)
    w.drop()
    w.run(30)
    assert not w.told("cut")
    assert not w.said


def test_a_node_without_a_relay_is_never_told_to_cut() -> None:
    """Its packs have no channel ``cut``: a stuck key is said, and unkeyed again and again, as before."""
    w = world(fault=[STUCK], relay=False)
    w.start()
    w.run(5)
    w.drop()
    w.run(10)
    assert not w.told("cut")
    assert any(finding.subject == "stuck key" for finding in w.said)


def test_a_cut_holds_until_a_person_releases_it_with_a_note() -> None:
    """No soak starts; time changes nothing; the release is kept with person and note, and the next soak is keyed."""
    w = world(fault=[STUCK])
    w.start()
    w.run(5)
    w.drop()
    w.run(60)
    assert w.frames[-1].values[CUT] == 1.0
    with pytest.raises(Refused, match="supply of bay-1 is cut"):
        w.start()
    w.twin.node.radio.condition.key_stuck = False
    w.twin.node._faults.clear()  # mended
    w.release("keying relay changed")
    w.run(1)
    assert w.frames[-1].values[CUT] == 0.0
    assert w.cuts()[-1].event is Event.RETURNED
    assert "released by Ana: keying relay changed" in w.cuts()[-1].text
    w.start()
    w.run(3)
    assert w.current_a() > 1.0
    with pytest.raises(Refused, match="not cut"):
        w.release()


def test_what_was_released_without_being_mended_is_cut_off_again() -> None:
    """Two seconds after the release, as that unkeys too."""
    w = world(fault=[SHORTED])
    w.start()
    w.run(20)
    w.release("looks fine to me")
    w.run(PATIENCE_S + 2 * SAMPLE_S)
    assert len(w.told("cut")) == 2
    w.run(1)
    assert w.current_a() < 0.1
    assert [f.event for f in w.cuts() if f.event is not Event.TRIP] == [Event.RAISED, Event.RETURNED, Event.RAISED]


def test_a_cut_outlives_the_daemon() -> None:
    """The node's own word tells the next daemon: it refuses a soak, says why, and can release."""
    w = world(fault=[SHORTED])
    w.start()
    w.run(20)
    w.restart()
    w.run(1)
    with pytest.raises(Refused, match="cut"):
        w.start()
    assert "relay is open" in w.cuts()[-1].text
    w.release()
    assert w.told("release")


def test_a_word_that_was_lost_is_said_again() -> None:
    """While the node does not say that the relay is open, it is told each third of a lease."""
    w = world(fault=[STUCK])
    w.start()
    w.run(5)
    w.drop()
    w.deaf = True
    w.run(PATIENCE_S + 3)
    assert len(w.told("cut")) >= 3
    w.deaf = False
    w.run(2)
    assert w.current_a() < 0.1
    after = len(w.told("cut"))
    w.run(5)
    assert len(w.told("cut")) == after


def test_packs_that_a_broker_had_kept_cut_nothing() -> None:
    """Readings of a keyed radio that come late and all at once, long after the unkey, are no proof of current now."""
    w = world()
    w.start()
    w.run(5)
    old = w.frames[-12:]
    w.drop()
    dropped_s = w.twin.clock_s
    # one that was on its way; then silence, and the rest of them when the broker is back
    for at_s, frame in zip([dropped_s + 0.1, *[dropped_s + 10.0] * 11], old, strict=True):
        w.bay.take(Frame(frame.bay, frame.time_ns, at_s, frame.seq, frame.values, frame.quality))
    assert not w.told("cut")


def test_current_that_nobody_keyed_is_unkeyed_first() -> None:
    """A daemon that starts beside a radio that is keyed still (its lease runs) has not taken the key back yet."""
    w = world()
    w.start()
    w.run(5)
    w.restart()
    w.words.clear()
    w.run(2)
    assert w.words[0][1] == "unkey"
    assert not w.told("cut")
