"""The safety loop: frames from the links to the bays, words of the bays to the links, and nothing in between.

It runs on one asyncio loop and awaits neither disk nor network nor a lock that another thread can keep: the store
is a queue to it, the API reads what it published and hands orders in.
"""

import asyncio
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from typing import TypeVar

from daemon.afterwards import Afterwards
from daemon.alertbook import AlertBook
from daemon.bay import Bay
from daemon.calibration.force import InForce
from daemon.calibration.known import Calibration
from daemon.errors import NoSuch, Refused
from daemon.notes import Keeper
from daemon.plan import Plan
from daemon.selfwatch import SelfWatch
from sensors.types import Clock, Frame, Link

T = TypeVar("T")

#: between two ticks: beyond any load, and short of the shortest lease that rack.toml takes
STOOD_S = 0.5

#: how often time passes where no frame comes: well under the shortest dwell and a tenth of the shortest lease
TICK_S = 0.05


class Rack:
    """All bays of one rack, with the links that reach them: it holds the key of every bay."""

    def __init__(
        self,
        links: list[Link],
        keeper: Keeper,
        clock: Clock = time.monotonic,
        wall_ns: Callable[[], int] = time.time_ns,
    ) -> None:
        self.links = links
        self.bays: dict[str, Bay] = {}
        self.book: AlertBook | None = None  # without one nobody is alerted
        self.watch: SelfWatch | None = None  # without one nobody looks at the daemon itself
        self.calibrated = InForce()
        self.refuses: Callable[[], str] = lambda: ""  # why what comes now might not be kept
        self.afterwards = Afterwards()
        self.lag_s = 0.0
        self.frames = 0
        self._link_of: dict[str, Link] = {}
        self._keeper = keeper
        self._clock, self._wall_ns = clock, wall_ns
        self._began_s = self._beat_s = clock()
        self._loop: asyncio.AbstractEventLoop | None = None

    def up_s(self) -> float:
        """How long this rack has been running, seconds."""
        return self._clock() - self._began_s

    def add(self, bay: Bay, link: Link) -> None:
        """Stand one more bay into the rack."""
        self.bays[bay.name] = bay
        self._link_of[bay.name] = link

    def link_of(self, bay: str) -> Link:
        """The link that reaches a bay."""
        return self._link_of[bay]

    # the key of every bay ----------------------------------------------------------------------------------------

    def lend(self, bay: str, lease_s: float, tone: bool | None) -> None:
        """Hand a loan to the bay's link."""
        self._link_of[bay].lend(bay, lease_s, tone)

    def unkey(self, bay: str) -> None:
        """Hand an unkey to the bay's link."""
        self._link_of[bay].unkey(bay)

    def cut(self, bay: str, opened: bool) -> None:
        """Hand the word on a supply relay to the bay's link."""
        self._link_of[bay].cut(bay, opened)

    # the loop ----------------------------------------------------------------------------------------------------

    async def run(self, stop: asyncio.Event) -> None:
        """Run until ``stop``; every bay is unkeyed and every soak ended before this returns."""
        self._loop = asyncio.get_running_loop()
        self.afterwards.begin(self._loop)
        try:
            await self._run(stop)
        finally:
            self.afterwards.finish()

    async def _run(self, stop: asyncio.Event) -> None:
        async with asyncio.TaskGroup() as tasks:
            running = [tasks.create_task(link.run(self._deliver), name=f"link {link.name}") for link in self.links]
            running.append(tasks.create_task(self._tick(), name="tick"))
            await stop.wait()
            for bay in self.bays.values():
                bay.drop(self._clock(), self._wall_ns(), who="the daemon, which was stopped")
            for task in running:
                task.cancel()

    def _deliver(self, frame: Frame) -> None:
        bay = self.bays.get(frame.bay)
        if bay is None:
            return  # the link counts strangers; it was configured without this one
        if frame.clock_s - self._beat_s > STOOD_S:
            self._beat(frame.clock_s, self._wall_ns())
        # kept first: the reading that ends a soak is its last, and a replay must find it there
        self._keeper.put(frame)
        bay.take(frame)
        self.frames += 1

    async def _tick(self) -> None:
        self._beat_s = due_s = self._clock()
        while True:
            due_s = max(due_s + TICK_S, self._clock())
            await asyncio.sleep(due_s - self._clock())
            now_s, now_ns = self._clock(), self._wall_ns()
            self.lag_s = max(now_s - due_s, self.lag_s * 0.99)
            self._beat(now_s, now_ns)
            for bay in self.bays.values():
                bay.tick(now_s, now_ns)
            if self.book:
                self.book.tick()
            if self.watch:
                self.watch.look(now_s, now_ns)

    def _beat(self, now_s: float, now_ns: int) -> None:
        # this process was stopped, or starved: loans that ran out meanwhile are not made good as if nothing had been
        stood_s, self._beat_s = now_s - self._beat_s, now_s
        if stood_s > STOOD_S:
            for bay in self.bays.values():
                bay.stood_still(stood_s, now_s, now_ns)

    # orders, from any thread -------------------------------------------------------------------------------------

    def order(self, act: Callable[[float, int], T]) -> "Future[T]":
        """Have ``act(clock_s, time_ns)`` done on the loop; its result or its exception comes in the future."""
        answer: Future[T] = Future()

        def do() -> None:
            try:
                answer.set_result(act(self._clock(), self._wall_ns()))
            except Refused as err:
                answer.set_exception(err)

        if self._loop is None:
            raise Refused("the daemon is still starting: try again in a second")
        self._loop.call_soon_threadsafe(do)
        return answer

    def find(self, bay: str) -> Bay:
        """A bay by its name; raises NoSuch."""
        if bay not in self.bays:
            raise NoSuch("bay", bay, list(self.bays))
        return self.bays[bay]

    def soak(
        self, bay: str, plan: Plan, text: str, number: str, unit: str, *, booking: int | None = None
    ) -> "Future[int]":
        """Order a soak, of a unit that is booked in where ``booking`` is given; the future has the new job's id."""
        found = self.find(bay)

        def act(clock_s: float, time_ns: int) -> int:
            if why := self.refuses():
                raise Refused(f"{why} A soak that begins now might leave no record of itself: see to the disk first")
            job = self._keeper.next_job()
            found.start(plan, clock_s, time_ns, job=job, number=number, unit=unit, booking=booking, text=text)
            return job

        return self.order(act)

    def drop(self, bay: str | None) -> "Future[list[str]]":
        """Order an unkey of one bay, or of all."""
        bays = list(self.bays.values()) if bay is None else [self.find(bay)]

        def act(clock_s: float, time_ns: int) -> list[str]:
            for each in bays:
                each.drop(clock_s, time_ns)
            return [each.name for each in bays]

        return self.order(act)

    def done(self, bay: str) -> "Future[None]":
        """Order that the plan goes on: what its phase asks is done."""
        found = self.find(bay)
        return self.order(lambda clock_s, _: found.done(clock_s))

    def release(self, bay: str, person: str, note: str) -> "Future[None]":
        """Order that a bay's supply, which was cut, is switched on again."""
        found = self.find(bay)
        return self.order(lambda clock_s, time_ns: found.release(clock_s, time_ns, person, note))

    def calibrate(self, calibration: Calibration) -> "Future[None]":
        """Order that a calibration is put in force; Refused while its bay soaks."""
        found = self.find(calibration.bay)

        def act(clock_s: float, time_ns: int) -> None:
            if found.soaking:
                raise Refused(
                    f"{found.name} is soaking: a calibration now would put a step into its readings; "
                    "calibrate when the soak has ended"
                )
            self.calibrated.put(calibration)

        return self.order(act)

    def uncalibrate(self, bay: str, channel: str, before: Calibration | None) -> "Future[None]":
        """Order that what was put in force and could not be kept is taken back."""
        return self.order(lambda clock_s, time_ns: self.calibrated.take(bay, channel, before))

    def ages(self) -> Mapping[str, float | None]:
        """Seconds since each bay's last frame; None where there never was one."""
        now_s = self._clock()
        return {b.name: None if b.last is None else now_s - b.last.clock_s for b in self.bays.values()}
