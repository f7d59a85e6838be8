"""One bay's pipeline: frames in; findings, the key and a verdict out. The same for a live bay and a replay.

It does no I/O and has no clock of its own: it is told the time with every frame and tick. It acts through ``Keys``
(the rack's links, a twin in its own time, nothing in a replay) and speaks through ``Notes``.
"""

import math
from collections.abc import Mapping, Sequence

from alerts.figures import lasting
from alerts.judge import Judge
from alerts.limits import Limits
from alerts.rules.keying import stuck_key_known_s
from alerts.types import Event, Finding, Priority, Situation
from alerts.verdict import Tally
from daemon.api.models import BayStatus
from daemon.calibration.force import InForce
from daemon.errors import Refused
from daemon.outside import Keys, Notes
from daemon.plan import Plan
from daemon.said import stood_still, tag
from daemon.soak import Begun, Course, Ended, PowerChange, Strip, Waited
from daemon.supplycut import Relay, SupplyCut
from sensors.types import KEY, NAN, Drive, Frame


class Bay:
    """One radio on one dummy load; ``sample_s`` is the time that its node lets pass between packs."""

    def __init__(
        self,
        name: str,
        keys: Keys,
        notes: Notes,
        *,
        sample_s: float,
        lease_s: float = 3.0,
        tone: bool = False,
        relay: Relay | None = None,
        calibrated: InForce | None = None,
    ) -> None:
        self.name = name
        self.sample_s = sample_s
        self.lease_s = lease_s
        self.status = BayStatus.EMPTY
        self.job = 0
        self.number = ""
        self.unit = ""
        self.started_s = 0.0
        self.last: Frame | None = None
        self.lent = False
        self.course: Course | None = None
        self.strip: Strip | None = None
        self.power = PowerChange()
        self.ended: Ended | None = None
        self.now = Situation(sample_s=sample_s)
        self.judge = Judge(name, Limits(), lease_s)
        self.supply = SupplyCut(name, relay, lease_s)
        self.calibrated = calibrated or InForce()  # by which its readings were corrected
        self._tally: Tally | None = None
        self._keys, self._notes = keys, notes
        self._has_tone = tone
        self._followed_s = -math.inf
        self._next_word_s = NAN  # when the loan is renewed, or a stubborn key told again to come up

    @property
    def soaking(self) -> bool:
        """Whether a plan is running here."""
        return self.now.soaking

    @property
    def limits(self) -> Limits:
        """The limits that its rules go by."""
        return self.course.plan.limits if self.course else Limits()

    def start(
        self,
        plan: Plan,
        clock_s: float,
        time_ns: int,
        *,
        job: int = 0,
        number: str = "",
        unit: str = "",
        booking: int | None = None,
        text: str = "",
        asks: bool = True,
        waited: Mapping[int, float] | None = None,
        blind: bool = False,
    ) -> None:
        """Begin a soak; Refused while one runs, or when nothing is heard from the bay (unless ``blind``).

        ``waited``: as its Course has it, of a soak that is gone through again.
        """
        if self.soaking:
            raise Refused(f"{self.name} is soaking already: unkey it first, which ends its soak")
        if self.supply.opened:
            raise Refused(f"the supply of {self.name} is cut: find out why, then release it with a note")
        silent = self.last is None or clock_s - self.last.clock_s > max(3 * self.sample_s, 1.0)
        if silent and not blind:
            raise Refused(f"nothing is heard from {self.name}: a bay that can't be seen is not keyed; run probe")
        self.job, self.number, self.unit = job, number or f"{job:04d}", unit
        self.started_s = clock_s
        self.ended = None
        self.course = Course(plan, clock_s, asks=asks, waited=waited)
        self.strip = Strip(plan.total_s)
        self.power = PowerChange()
        # made anew: a rule's memory belongs to one soak of one unit
        self.judge = Judge(self.name, plan.limits, self.lease_s)
        self._tally = Tally(plan.limits, self.sample_s)
        self.now = Situation(soaking=True, sample_s=self.sample_s, asked_since_s=clock_s, phase_since_s=clock_s)
        ids = self.calibrated.ids(self.name)
        self._notes.begin(Begun(job, self.number, unit, self.name, plan, text, time_ns, clock_s, booking, ids))
        if self.course.waiting:  # its first phase asks
            self._notes.wait(Waited(job, *self.course.waits[-1]))
        self._follow(clock_s)

    def take(self, frame: Frame) -> None:
        """Take in one frame: judge it, and act on what the rules say before anything else is done."""
        self.last = frame
        self._follow(frame.clock_s)
        said = self.judge.step(frame, self.now)
        self._act(said, frame.clock_s)
        if cut := self.supply.look(frame, self.sample_s, self.limits):
            tripped = not self.soaking or any(f.event is Event.TRIP for f in said)
            said = [*said, *(f for f in cut if f.event is not Event.TRIP or not tripped)]
        if self._tally and self.soaking:  # before the findings are heard: one of them may end the soak
            self._tally.step(frame, self.now)
            self.power.add(frame, self.now)
            if self.strip and self.course and not self.course.waiting:
                self.strip.add(self.course.elapsed_s, frame)
        for finding in said:
            self._hear(finding, frame.clock_s)
        self._finish_if_over(frame.clock_s, frame.time_ns)

    def tick(self, clock_s: float, time_ns: int) -> None:
        """Let time pass where no frame came: plan edges, renewals, and the rules that watch for silence."""
        self._follow(clock_s)
        said = self.judge.tick(clock_s, time_ns, self.now)
        self._act(said, clock_s)
        for finding in said:
            self._hear(finding, clock_s)
        self._finish_if_over(clock_s, time_ns)

    def drop(self, clock_s: float, time_ns: int, who: str = "a person") -> None:
        """A person takes the key back: unkey whatever is known of the bay, and end a soak that runs."""
        self._unkey(clock_s)
        self._take_back(clock_s)
        if self.soaking:
            self._end(BayStatus.DROPPED, clock_s, time_ns, finished=False, stopped=f"unkeyed by {who}")

    def done(self, clock_s: float) -> None:
        """A person has done what the phase asks; Refused when nothing was asked."""
        if not (self.soaking and self.course and self.course.waiting):
            raise Refused(f"{self.name} is not waiting for anything to be done")
        self.course.go_on(clock_s)
        self._notes.wait(Waited(self.job, *self.course.waits[-1]))
        self._follow(clock_s)

    def stood_still(self, stood_s: float, clock_s: float, time_ns: int) -> None:
        """Nobody has looked at this bay for ``stood_s``: a loan that ran out is not renewed, and its soak is over."""
        if not self.lent or clock_s < self._next_word_s + self.lease_s * 2 / 3:
            return
        said = stood_still(self.name, stood_s, self.lease_s, time_ns)
        self._act(said, clock_s)
        for finding in said:
            self._hear(finding, clock_s)

    def release(self, clock_s: float, time_ns: int, person: str, note: str) -> None:
        """A person closes the supply relay that a cut has opened; Refused where it is not open."""
        self._hear(self.supply.release(clock_s, time_ns, person, note), clock_s)

    def close(self, clock_s: float, time_ns: int, stopped: str = "") -> None:
        """End a soak that can't go on (a recording has ended, the daemon stops), with what it has shown."""
        if self.soaking and self.course:
            # a recording ends with its last sample, up to one sample before the plan's end
            finished = self.course.elapsed_s >= self.course.plan.total_s - 1.5 * self.sample_s
            status = BayStatus.DONE if finished else BayStatus.DROPPED
            self._end(status, clock_s, time_ns, finished=finished, stopped="" if finished else stopped)

    # the key ---------------------------------------------------------------------------------------------------

    def _follow(self, clock_s: float) -> None:
        now, course = self.now, self.course
        # a frame may have been read before the tick that came before it: the plan's time does not run backwards
        self._followed_s = clock_s = max(clock_s, self._followed_s)
        if not (now.soaking and course):
            self._insist(clock_s)
            return
        was = course.waiting
        course.follow(clock_s)
        if course.waiting and not was:
            self._notes.wait(Waited(self.job, *course.waits[-1]))
        moment = course.moment
        now.phase_since_s = course.phase_since_s
        now.on_limit_s = moment.on_limit_s
        now.drive = Drive.OFF if course.waiting else moment.drive
        if moment.key and not course.waiting:
            if not self.lent or clock_s >= self._next_word_s:
                self._lend(clock_s)
            self.status = BayStatus.KEYED
        else:
            if self.lent:
                self._unkey(clock_s)
                self._take_back(clock_s)
            self._insist(clock_s)
            self.status = BayStatus.WAITING if course.waiting else BayStatus.RESTING

    def _lend(self, clock_s: float) -> None:
        tone = self.now.drive is not Drive.IDLE if self._has_tone else None
        self.supply.lent()
        self._keys.lend(self.name, self.lease_s, tone)
        self._next_word_s = clock_s + self.lease_s / 3
        if not self.lent:
            self.lent = self.now.key_asked = True
            self.now.asked_since_s = clock_s

    def _unkey(self, clock_s: float) -> None:
        self._keys.unkey(self.name)
        self.supply.unkeyed(clock_s)

    def _take_back(self, clock_s: float) -> None:
        self._next_word_s = clock_s + self.lease_s / 3
        if self.lent:
            self.lent = self.now.key_asked = False
            self.now.asked_since_s = clock_s

    def _insist(self, clock_s: float) -> None:
        # a word can be lost on the way: while the node itself says that it is keyed, it is told again
        if self.last is not None and self.last.values[KEY] == 1.0 and not clock_s < self._next_word_s:
            self._unkey(clock_s)
            self._next_word_s = clock_s + self.lease_s / 3

    # what the rules say, and the end -----------------------------------------------------------------------------

    def _act(self, said: Sequence[Finding], clock_s: float) -> None:
        if any(f.priority is Priority.TRIP and f.event is not Event.RETURNED for f in said):
            self._unkey(clock_s)
            self._take_back(clock_s)

    def _hear(self, finding: Finding, clock_s: float) -> None:
        if self.strip and self.course:
            self.strip.hang(tag(finding, self.course.elapsed_s))
        self._notes.say(self.job, clock_s - self.started_s, finding)
        if self._tally and self.soaking:
            self._tally.hear(finding)
            if finding.event is Event.TRIP:
                self._end(BayStatus.TRIPPED, clock_s, finding.time_ns, finished=False)

    def _finish_if_over(self, clock_s: float, time_ns: int) -> None:
        if not (self.soaking and self.course):
            return
        plan = self.course.plan
        # after a plan's last keyed second the soak looks on, so that a key that sticks then is seen
        stuck_s = stuck_key_known_s(plan.limits, self.sample_s)
        look_on_s = 0.0 if plan.phase[-1].drive is Drive.OFF else stuck_s
        if self.course.elapsed_s >= plan.total_s + look_on_s:
            self._end(BayStatus.DONE, clock_s, time_ns, finished=True)

    def _end(self, status: BayStatus, clock_s: float, time_ns: int, *, finished: bool, stopped: str = "") -> None:
        if self._tally is None or self.course is None:
            return
        if self.lent:
            self._unkey(clock_s)
            self._take_back(clock_s)
        self.status = status
        self.now.soaking = False
        self.now.drive = Drive.OFF
        verdict = self._tally.verdict(
            finished=finished,
            asked_s=self.course.plan.key_down_s,
            standing=self.judge.standing_alerts(),
            stopped=stopped,
            standings=self.judge.standings(),
            expanded=self.calibrated.expanded(self.name, self._tally.figures()),
        )
        figures = verdict.figures | lasting(self.judge.figures())
        self._tally = None
        self.ended = Ended(self.job, self.name, time_ns, str(verdict.verdict), list(verdict.reasons), figures)
        self._notes.end(self.ended)
