"""Alerts told from the catalog to real servers that are slow, refuse, hang, go away and come back."""

from __future__ import annotations

import random
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from daemon.config import RackFile
from daemon.delivery.delivery import GRACE_S, Delivery
from daemon.errors import BadFile, NoSuch
from daemon.store.reader import CATALOG
from sensors.backoff import Backoff

if TYPE_CHECKING:
    from tests.daemon.delivery.conftest import Alerts, Hook, Mails

pytestmark = pytest.mark.usefixtures("nothing_left_running")

Until = Callable[..., None]
RackOf = Callable[[str], RackFile]
TRIP = "bay-{}: over-temperature trip"


class Clock:
    """Monotonic seconds that pass when the test says so."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def catalog(tmp_path: Path) -> Path:
    """The catalog of this test's store."""
    return tmp_path / "data" / CATALOG


def delivery(config: RackFile, catalog: Path, clock: Callable[[], float] = time.monotonic) -> Delivery:
    """Delivery that looks often and rests for a tenth of a second at most."""
    return Delivery(config, catalog, clock=clock, backoff=lambda: Backoff(0.02, 0.1), poll_s=0.02)


def table(name: str, url: str, more: str = "") -> str:
    """A [[tell]]."""
    return f'[[tell]]\nname = "{name}"\nurl = "{url}"\n{more}\n'


def test_a_burst_is_told_in_order_once_each_to_a_mail_box_and_a_web_hook(  # noqa: PLR0917  fixtures
    alerts: Alerts,
    catalog: Path,
    rack_of: RackOf,
    hooks: Callable[[], Hook],
    mail_server: tuple[Mails, str],
    until: Until,
) -> None:
    """What is below a target's priorities, and what is folded under its cause, is not told there."""
    hook, (mails, mail_url) = hooks(), mail_server
    config = rack_of(table("duty", hook.url, 'priorities = ["trip"]') + table("mail", mail_url))
    with delivery(config, catalog) as telling:
        for alert in (1, 2, 3):
            alerts.say(alert)
        alerts.say(4, told=False, state="suppressed", cause=1)
        alerts.say(5, priority="warning")
        until(lambda: len(hook.titles) == 3 and len(mails.mails) == 4, "all told")
        until(lambda: all(t.waiting == 0 for t in telling.view().targets), "all marked")
        view = {t.target: t for t in telling.view().targets}
        assert (view["duty"].sent, view["mail"].sent) == (3, 4)
        assert telling.error == ""
    assert hook.titles == [TRIP.format(n) for n in (1, 2, 3)]
    assert "http://bench.example:8050/bay/bay-1" in hook.bodies[0]
    assert [m["subject"] for m in mails.mails] == [*hook.titles, "bay-5: over-temperature warning"]


def test_a_server_that_refuses_goes_away_and_comes_back_gets_all_in_order_once_each(
    alerts: Alerts, catalog: Path, rack_of: RackOf, hooks: Callable[[], Hook], until: Until
) -> None:
    """Meanwhile it is shown to be failing, with the reason and without its URL; then no more."""
    hook = hooks()
    hook.mode = "refuse"
    with delivery(rack_of(table("duty", hook.url)), catalog) as telling:
        alerts.say(1)
        until(lambda: "duty can't be told (1 waiting)" in telling.error and "503" in telling.error, "refusal shown")
        hook.stop()
        alerts.say(2)
        until(lambda: "refused" in telling.error, "that nobody is there is shown")
        [target] = telling.view().targets
        assert (target.state, target.kind, target.waiting) == ("failing", "json", 2)
        assert not [s for s in ("t0ken", "127.0.0.1") if s in telling.view().model_dump_json()]
        hook.mode = "take"
        hook.start()
        alerts.say(3)
        until(lambda: len(hook.titles) == 3, "all told")
        until(lambda: telling.error == "", "no error is left")
    assert hook.titles == [TRIP.format(n) for n in (1, 2, 3)]


def test_a_target_that_hangs_delays_no_other_and_no_stop(
    alerts: Alerts, catalog: Path, rack_of: RackOf, hooks: Callable[[], Hook], until: Until
) -> None:
    """All messages reach the one while the other has not ended its first; the stop takes seconds."""
    slow, quick = hooks(), hooks()
    slow.mode = "hang"
    telling = delivery(rack_of(table("slow", f"{slow.url}?rto=60") + table("quick", quick.url)), catalog)
    with telling:
        for alert in range(1, 5):
            alerts.say(alert)
        until(lambda: len(quick.titles) == 4 and slow.asked == 1, "the quick one is told")
        assert {t.target: t.state for t in telling.view().targets}["slow"] == "sending"
        began_s = time.monotonic()
    assert time.monotonic() - began_s < GRACE_S + 3
    assert slow.titles == []


def test_nobody_acknowledged_so_the_second_is_told_after_its_minutes(
    alerts: Alerts, catalog: Path, rack_of: RackOf, hooks: Callable[[], Hook], until: Until
) -> None:
    """Not before, and not for what was acknowledged meanwhile."""
    first, second, clock = hooks(), hooks(), Clock()
    config = rack_of(
        table("first", first.url) + table("second", second.url, 'escalate_from = "first"\nescalate_after_min = 5')
    )
    with delivery(config, catalog, clock) as telling:
        alerts.say(1)
        alerts.say(2)
        until(lambda: len(first.titles) == 2, "the first is told")
        until(lambda: telling.view().targets[1].waiting == 2, "the escalation is booked")
        clock.now_s += 290
        telling.wake()
        alerts.say(1, "acknowledged", "acknowledged")
        assert second.asked == 0
        clock.now_s += 11
        telling.wake()
        until(lambda: telling.view().targets[1].waiting == 0, "the escalations are over")
    assert second.titles == [TRIP.format(2)]
    assert "Nobody acknowledged it in 5 minutes." in second.bodies[0]
    assert second.asked == 1


def test_an_escalation_survives_a_restart(
    alerts: Alerts, catalog: Path, rack_of: RackOf, hooks: Callable[[], Hook], until: Until
) -> None:
    """Its minutes run from the change, not from the start of the daemon."""
    first, second = hooks(), hooks()
    config = rack_of(
        table("first", first.url) + table("second", second.url, 'escalate_from = "first"\nescalate_after_min = 5')
    )
    with delivery(config, catalog, Clock()) as telling:
        alerts.say(1, time_ns=time.time_ns() - 200 * 10**9)
        until(lambda: telling.view().targets[1].waiting == 1 and len(first.titles) == 1, "booked")
    clock = Clock()
    with delivery(config, catalog, clock) as telling:
        until(lambda: telling.view().targets[1].waiting == 1, "found again")
        assert second.asked == 0
        clock.now_s += 101
        telling.wake()
        until(lambda: second.titles, "told")
    assert first.titles == second.titles == [TRIP.format(1)]


TELLER = """
import sys, threading
from pathlib import Path
from daemon.config import RackFile
from daemon.delivery.delivery import Delivery
with Delivery(RackFile.from_file(Path(sys.argv[1])), Path(sys.argv[2]), poll_s=0.02):
    threading.Event().wait()
"""


@contextmanager
def another_daemon(config: Path, catalog: Path) -> Iterator[subprocess.Popen[bytes]]:
    """Delivery in a process of its own, which ends by kill -9."""
    words = [sys.executable, "-c", TELLER, str(config), str(catalog)]
    with subprocess.Popen(words, cwd=Path(__file__).parents[3]) as child:
        try:
            yield child
        finally:
            child.kill()


def test_killed_in_the_middle_of_a_send_it_is_told_by_the_next(  # noqa: PLR0917  fixtures
    alerts: Alerts, catalog: Path, rack_of: RackOf, hooks: Callable[[], Hook], until: Until, tmp_path: Path
) -> None:
    """kill -9 while the server holds the message: nothing is lost, the order is kept."""
    hook = hooks()
    config = rack_of(table("duty", f"{hook.url}?rto=60"))
    alerts.say(1)
    with another_daemon(tmp_path / "rack.toml", catalog):
        until(lambda: hook.titles, "the first is told")
        hook.mode = "hang"
        alerts.say(2)
        alerts.say(3)
        until(lambda: hook.asked == 2, "the second is being sent")
    hook.mode = "take"
    with delivery(config, catalog):
        until(lambda: len(hook.titles) == 3, "all told")
    assert hook.titles == [TRIP.format(n) for n in (1, 2, 3)]


def test_killed_at_any_instant_each_is_told_and_one_at_most_twice(  # noqa: PLR0917  fixtures
    alerts: Alerts, catalog: Path, rack_of: RackOf, hooks: Callable[[], Hook], until: Until, tmp_path: Path
) -> None:
    """A real process, kill -9 at a random moment between and in sends."""
    hook = hooks()
    config = rack_of(table("duty", hook.url))
    for alert in range(1, 5):
        alerts.say(alert)
    with another_daemon(tmp_path / "rack.toml", catalog):
        least = random.randint(1, 3)
        until(lambda: len(hook.titles) >= least, "some are told")
        threading.Event().wait(random.uniform(0, 0.5))
    with delivery(config, catalog) as telling:
        until(lambda: hook.titles.count(TRIP.format(4)), "the last is told")
        until(lambda: telling.view().targets[0].waiting == 0, "all marked")
    assert set(hook.titles) == {TRIP.format(n) for n in range(1, 5)}
    assert len(hook.titles) <= 5


def test_a_disk_that_takes_no_mark_makes_nobody_be_told_twice(
    alerts: Alerts, catalog: Path, rack_of: RackOf, hooks: Callable[[], Hook], until: Until
) -> None:
    """The message is kept in mind as told until the mark is on disk, and the trouble is shown."""
    hook = hooks()
    with closing(sqlite3.connect(catalog, isolation_level=None, check_same_thread=False)) as other:

        def lock(_: str) -> bool:
            if not other.in_transaction and not hook.titles:
                other.execute("BEGIN IMMEDIATE")
            return False

        hook.refused = lock
        with delivery(rack_of(table("duty", hook.url)), catalog) as telling:
            alerts.say(1)
            until(lambda: "what was told can't be kept" in telling.error, "the trouble is shown")
            assert hook.titles == [TRIP.format(1)]
            other.execute("ROLLBACK")
            alerts.say(2)
            until(lambda: len(hook.titles) == 2, "the second is told")
            until(lambda: telling.error == "", "no error is left")
    assert hook.titles == [TRIP.format(1), TRIP.format(2)]


def test_a_test_message_says_what_happened_and_ends_a_rest(
    alerts: Alerts, catalog: Path, rack_of: RackOf, hooks: Callable[[], Hook], until: Until
) -> None:
    """To one target, to all at once, and to one that does not exist."""
    good, bad = hooks(), hooks()
    bad.mode = "refuse"
    config = rack_of(table("good", good.url) + table("bad", bad.url))
    with Delivery(config, catalog, backoff=lambda: Backoff(1000, 1000), poll_s=0.02) as telling:
        alerts.say(1)
        until(lambda: "bad can't be told" in telling.error, "it fails")
        tried = {t.target: t for t in telling.test()}
        assert (tried["good"].ok, tried["good"].why, tried["bad"].ok) == (True, "", False)
        assert "503" in tried["bad"].why
        assert good.titles[-1] == "rack-1: test"
        bad.mode = "take"
        assert [t.ok for t in telling.test("bad")] == [True]
        until(lambda: bad.titles == ["rack-1: test", TRIP.format(1)], "what waited is told at once")
        with pytest.raises(NoSuch, match="no target 'nobody'; known: good, bad"):
            telling.test("nobody")


def test_a_url_in_a_file_is_read_and_a_wrong_one_is_named_without_it(
    catalog: Path, alerts: Alerts, rack_of: RackOf, tmp_path: Path
) -> None:
    """The file lies beside rack.toml; what is in it is never said."""
    config = rack_of('[[tell]]\nname = "duty"\nurl_file = "duty.url"\n')
    with pytest.raises(BadFile, match=r"duty\.url: can't be read"):
        Delivery(config, catalog)
    (tmp_path / "duty.url").write_text("hush-hush\n")
    with pytest.raises(BadFile, match=r"duty\.url: holds no apprise URL") as caught:
        Delivery(config, catalog)
    assert "hush-hush" not in str(caught.value)
    (tmp_path / "duty.url").write_text("json://hush-hush\n")
    with Delivery(config, catalog) as telling:
        assert "hush-hush" not in telling.view().model_dump_json()
