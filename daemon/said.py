"""What a bay says beside its rules, and how a finding is shown."""

from alerts.rules.link_lost import LinkLost
from alerts.types import Event, Finding, Priority
from daemon.api.models import Tag
from sensors.types import NAN

#: in the place of a bay's name: what is wrong is wrong with the daemon
RACK = ""
#: the subject of a lost link where the link was the daemon itself
DAEMON = "daemon"

# why an alert changed, beside what a rule said
SOAK_OVER = "the soak has ended, and this is judged only in one"
NEW_SOAK = "a new soak begins, and judges anew"
RESTARTED = "the daemon was started again: the soak in which this was judged is over"
SHELF_OVER = "the time on the shelf is over"


def cut_short(bay: str, at_s: float, time_ns: int) -> Finding:
    """The daemon was killed, or its machine failed, ``at_s`` after the start of a soak."""
    text = (
        f"the daemon ended in mid-soak, {at_s:.0f} s after its start; a key that was lent came up as its loan ended: "
        "find out why it ended (keysoak.log in the data folder), then soak again"
    )
    return Finding(time_ns, bay, LinkLost.name, Event.RAISED, Priority.TRIP, NAN, NAN, "s", text, DAEMON)


def stood_still(bay: str, stood_s: float, lease_s: float, time_ns: int) -> list[Finding]:
    """The daemon itself was the link that was lost: it was stopped, or starved, until the loan had run out."""
    text = f"the daemon stood still for {stood_s:.1f} s, in which the loan of the key ran out: look at its machine"
    return [
        Finding(time_ns, bay, LinkLost.name, event, Priority.TRIP, stood_s, lease_s, "s", words, DAEMON)
        for event, words in ((Event.RAISED, text), (Event.TRIP, f"unkeyed: {text}"))
    ]


def tag(finding: Finding, at_s: float) -> Tag:
    """A finding as a page hangs it on a time axis."""
    return Tag(
        at_s=round(at_s, 3),
        time_ns=finding.time_ns,
        rule=finding.rule,
        event=finding.event,
        priority=finding.priority,
        value=finding.value if finding.value == finding.value else None,
        limit=finding.limit if finding.limit == finding.limit else None,
        unit=finding.unit,
        text=finding.text,
    )
