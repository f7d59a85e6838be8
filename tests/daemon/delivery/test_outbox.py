"""What is booked for whom, and that it is booked once, whenever the daemon is killed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from daemon import migrations
from daemon.config import RackFile
from daemon.delivery.outbox import DONE, FAILED, NO_TARGET, Outbox, routes
from daemon.store import Store
from daemon.store.catalog import engine
from daemon.store.items import JobStarted
from daemon.store.reader import CATALOG
from daemon.store.tables import DELIVERY

if TYPE_CHECKING:
    from tests.daemon.delivery.conftest import Alerts

CHAIN = """
[[tell]]
name = "third"
url = "json://third"
escalate_from = "second"
escalate_after_min = 20
priorities = ["trip"]
[[tell]]
name = "second"
url = "json://second"
escalate_from = "first"
[[tell]]
name = "first"
url = "json://first"
[[tell]]
name = "log"
url = "json://log"
priorities = ["advisory", "warning", "trip"]
"""


@pytest.fixture
def outbox(store: Store, tmp_path: Path) -> Outbox:
    """The outbox of the store."""
    return Outbox(tmp_path / "data" / CATALOG)


@pytest.mark.parametrize(
    ("priority", "told"),
    [
        ("trip", {"first": 0, "log": 0, "second": 10, "third": 30}),
        ("warning", {"first": 0, "log": 0, "second": 10}),
        ("advisory", {"log": 0}),
    ],
)
def test_priorities_choose_targets_and_escalation_goes_on_from_the_one_before(
    rack_of: Callable[[str], RackFile], priority: str, told: dict[str, float]
) -> None:
    """Minutes after the change; nobody is told in second place what the first is not told."""
    assert routes(rack_of(CHAIN).tell, priority) == told


def test_each_change_is_booked_once(
    outbox: Outbox, alerts: Alerts, rack_of: Callable[[str], RackFile], tmp_path: Path
) -> None:
    """Also by an outbox that is opened anew, as after a restart; what folds or is hidden is not told."""
    tell = rack_of(CHAIN).tell
    first = alerts.say(1, priority="advisory")
    alerts.say(2, told=False, state="suppressed", cause=1)
    alerts.say(1, "acknowledged", "acknowledged", priority="advisory")
    made, changed = outbox.book(tell)
    assert changed
    assert [(b.target, b.change) for b in made] == [("log", first)]
    assert outbox.book(tell) == ([], False)
    assert Outbox(tmp_path / "data" / CATALOG).book(tell) == ([], False)


def test_what_waits_is_found_again_after_a_restart_in_order(
    outbox: Outbox, alerts: Alerts, rack_of: Callable[[str], RackFile]
) -> None:
    """With its tries; what was told is not."""
    tell = rack_of(CHAIN).tell
    for alert in (1, 2, 3):
        alerts.say(alert, priority="advisory")
    made, _ = outbox.book(tell)
    outbox.end(made[1], DONE)
    made[0].tries = 3
    outbox.missed(made[0], "no", 5.0)
    found = Outbox(outbox.path).waiting(tell)
    assert [(b.change, b.tries) for b in found] == [(made[0].change, 3), (made[2].change, 0)]
    assert outbox.counts() == {"log": {"done": 1, "waiting": 2}}


def test_what_was_for_a_target_that_is_no_more_is_given_up_and_says_so(
    outbox: Outbox, alerts: Alerts, rack_of: Callable[[str], RackFile]
) -> None:
    """It would wait for ever."""
    alerts.say(1, priority="advisory")
    outbox.book(rack_of(CHAIN).tell)
    assert outbox.waiting([]) == []
    with engine(outbox.path, read_only=True).connect() as db:
        row = db.execute(sa.select(DELIVERY)).one()
    assert (row.state, row.last_error) == (FAILED, NO_TARGET)


def test_the_message_has_the_job_and_the_radio(
    outbox: Outbox,
    alerts: Alerts,
    rack_of: Callable[[str], RackFile],
    job_at: Callable[..., JobStarted],
) -> None:
    """And the sentence, the priority and the time of the change."""
    alerts.store.put(job_at(1, "bay-1"))
    alerts.say(1, priority="warning", job=1, time_ns=5 * 10**9)
    made, _ = outbox.book(rack_of(CHAIN).tell)
    told = outbox.told(made[0])
    assert told is not None
    assert (told.bay, told.number, told.radio, told.priority) == ("bay-1", "J-1", "MR-25 no. 014", "warning")
    assert (told.time_ns, told.text, told.unheard_min) == (5 * 10**9, "heatsink 76.0 °C, limit 75.0 °C (1)", 0)


@pytest.mark.parametrize(
    ("change", "state", "escalates"),
    [
        (None, "unacknowledged", True),
        ("returned", "returned", True),
        ("returned", "latched", True),
        ("acknowledged", "acknowledged", False),
        ("shelved", "shelved", False),
        ("out-of-service", "out of service", False),
        ("suppressed", "suppressed", False),
        ("returned", "normal", False),
    ],
)
def test_an_escalation_is_needless_once_a_person_has_dealt_with_the_alert(  # noqa: PLR0917  fixtures
    outbox: Outbox,
    alerts: Alerts,
    rack_of: Callable[[str], RackFile],
    change: str | None,
    state: str,
    escalates: bool,
) -> None:
    """One that went back to normal and that nobody saw still is told."""
    alerts.say(1)
    made, _ = outbox.book(rack_of(CHAIN).tell)
    [second] = [b for b in made if b.target == "second"]
    if change is not None:
        alerts.say(1, change, state)
    told = outbox.told(second)
    assert (told is not None) is escalates
    if told is not None:
        assert told.unheard_min == 10


def test_what_came_back_after_an_acknowledgement_escalates_in_its_own_time(
    outbox: Outbox, alerts: Alerts, rack_of: Callable[[str], RackFile]
) -> None:
    """The first one's escalation is needless though the alert is unacknowledged again."""
    tell = rack_of(CHAIN).tell
    first = alerts.say(1)
    alerts.say(1, "acknowledged", "acknowledged")
    worse = alerts.say(1, "worsened")
    made, _ = outbox.book(tell)
    told = {b.change: outbox.told(b) for b in made if b.target == "second"}
    assert told[first] is None
    assert told[worse] is not None


def test_what_happened_before_delivery_was_is_told_to_nobody(
    tmp_path: Path, rack_of: Callable[[str], RackFile]
) -> None:
    """A catalog of the version before, with changes in it, is brought up to date."""
    path = tmp_path / "old.sqlite"
    with engine(path).connect() as db:
        config = Config()
        config.set_main_option("script_location", str(Path(migrations.__file__).parent))
        config.attributes["connection"] = db
        command.upgrade(config, "0002")
        db.execute(
            sa.text(
                "INSERT INTO alert VALUES (1,'bay-1','supply','','trip','unacknowledged','unacknowledged',"
                "NULL,NULL,1,NULL,NULL,'t',1,1,'V')"
            )
        )
        db.execute(sa.text("INSERT INTO alert_change VALUES (9,1,1,'raised','unacknowledged','trip',1,'','','t')"))
        db.commit()
        migrations.upgrade(db, path)
        db.commit()
    assert Outbox(path).book(rack_of(CHAIN).tell) == ([], False)
