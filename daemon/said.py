"""What a bay says beside its rules, and how a finding is shown."""

from alerts.rules.link_lost import LinkLost
from alerts.types import Event, Finding, Priority
from daemon.api.models import Tag


def stood_still(bay: str, stood_s: float, lease_s: float, time_ns: int) -> list[Finding]:
    """The daemon itself was the link that was lost: it was stopped, or starved, until the loan had run out."""
    text = f"the daemon stood still for {stood_s:.1f} s, in which the loan of the key ran out: look at its machine"
    return [
        Finding(time_ns, bay, LinkLost.name, event, Priority.TRIP, stood_s, lease_s, "s", words, "daemon")
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
