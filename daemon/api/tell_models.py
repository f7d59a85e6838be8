"""What the control API says of those who are told of alerts, and takes for a test."""

from daemon.api.models import Model


class TellView(Model):
    """Somebody who is told of alerts. Of the URL only its scheme is said: all else in it may be a secret."""

    target: str
    kind: str
    priorities: list[str]
    escalate_from: str | None
    escalate_after_min: float | None
    state: str  # idle | waiting | sending | failing
    error: str  # why it is failing, as a sentence
    waiting: int  # messages that are still to go out, escalations that may never have to among them
    next_try_s: float | None
    sent: int
    failed: int  # messages that were given up
    last_sent_ns: int | None
    last_error: str
    last_error_ns: int | None


class BrokerView(Model):
    """A broker on which open alerts are retained."""

    link: str
    connected: bool
    last_error: str


class TellsView(Model):
    """Everybody who is told of alerts."""

    error: str  # who can't be told and why; empty when all is well
    targets: list[TellView]
    brokers: list[BrokerView]


class TellTest(Model):
    """Send a test message to one target, or to all."""

    target: str | None = None


class TellTried(Model):
    """What became of a test message."""

    target: str
    ok: bool
    why: str
    took_s: float
