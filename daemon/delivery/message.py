"""What is said of an alert, and the words between the daemon and the process that sends."""

from datetime import UTC, datetime, tzinfo

import msgspec


class Message(msgspec.Struct, frozen=True):
    """A title and a body in plain text; ``kind`` is one of apprise's: info, success, warning, failure."""

    title: str
    body: str
    kind: str = "info"


class Errand(msgspec.Struct, frozen=True):
    """One message to send, and within what time."""

    url: str
    message: Message
    limit_s: float


class Answer(msgspec.Struct, frozen=True):
    """What became of an errand; ``why`` is empty when the target took it."""

    why: str = ""


class Told(msgspec.Struct, frozen=True):
    """What a message says: one change of one alert, the soak it belongs to, and why this target is told."""

    alert: int
    change: int
    bay: str
    rule: str
    priority: str
    time_ns: int
    text: str
    number: str = ""  # the job's
    radio: str = ""
    unheard_min: float = 0.0  # an escalation: nobody acknowledged for so long


_KINDS = {"trip": "failure", "warning": "warning", "advisory": "info"}


def compose(told: Told, page_url: str = "", zone: tzinfo | None = None) -> Message:
    """The message; ``zone`` is the one of this machine if left out."""
    when = datetime.fromtimestamp(told.time_ns / 1e9, UTC).astimezone(zone)
    about = ", ".join(part for part in (told.number and f"job {told.number}", told.radio) if part)
    lines = [
        told.text,
        f"Nobody acknowledged it in {told.unheard_min:g} minutes." if told.unheard_min else "",
        about[:1].upper() + about[1:],
        when.isoformat(" ", "seconds"),
        f"{page_url.rstrip('/')}/{f'bay/{told.bay}' if told.bay else 'alerts'}" if page_url else "",
        f"Alert {told.alert}, change {told.change}",
    ]
    title = f"{told.bay or 'whole rack'}: {told.rule} {told.priority}"
    return Message(title, "\n".join(line for line in lines if line), _KINDS.get(told.priority, "info"))


def trial(rack: str, target: str, page_url: str = "") -> Message:
    """The message of a test."""
    lines = [f"A test from rack {rack}: {target} is told of alerts in this way.", page_url]
    return Message(f"{rack}: test", "\n".join(line for line in lines if line))
