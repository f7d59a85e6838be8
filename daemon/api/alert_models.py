"""What the control API says of alerts and takes about them; the rest of it is in ``models``."""

from typing import Annotated

from pydantic import Field, StringConstraints

from daemon.api.models import Model

#: who gives the order, and what for: both are kept with the change that they make
Person = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
Reason = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=2000)]
Note = Annotated[str, StringConstraints(strip_whitespace=True, max_length=2000)]

#: a shelf ends by itself, and within a shift; common practice, no source
LONGEST_SHELF_MIN = 12 * 60.0


class AlertChangeView(Model):
    """One change in the life of an alert; ``state`` and ``priority`` are those that it led to."""

    id: int
    time_ns: int
    change: str  # raised | worsened | returned | acknowledged | shelved | unshelved | suppressed | released | ...
    state: str
    priority: str
    told: bool  # people were told of it
    person: str
    note: str
    text: str


class AlertView(Model):
    """One alert as it stands: its sentence, its state, what is folded under it, and what a person may do."""

    id: int
    bay: str  # empty: the daemon's own trouble, which is the whole rack's
    rule: str
    subject: str
    priority: str  # the worst since it was raised
    state: str  # words of IEC 62682 / ISA-18.2: unacknowledged, acknowledged, returned, latched, shelved, ...
    active: bool  # the condition stands, whatever hides it
    unseen: bool  # nobody has acknowledged it
    job: int | None
    cause: int | None  # the alert that it is folded under
    raised_ns: int
    returned_ns: int | None
    shelved_until_ns: int | None
    text: str
    value: float | None
    limit: float | None
    unit: str
    may: list[str] = Field(
        default_factory=list
    )  # acknowledge | shelve | unshelve | out-of-service | in-service | reset
    folded: list["AlertView"] = Field(default_factory=list)
    history: list[AlertChangeView] = Field(default_factory=list)  # oldest first


class AlertRate(Model):
    """How often people are told something, against the figures of EEMUA 191 and ISA-18.2.

    Counted in intervals of ten minutes that end now, over a day or since the first alert that is kept.
    """

    since_ns: int
    last_10_min: int
    average_per_10_min: float
    most_in_10_min: int
    share_in_flood: float  # of the time, 0 to 1
    flood: bool  # now: begun by more than ten in ten minutes, not yet over
    verdict: str  # EEMUA 191's word for the average
    text: str  # the same as a sentence for a person


class NoteOrder(Model):
    """Acknowledge, unshelve, put back in service: by whom, and what there is to say."""

    person: Person
    note: Note = ""


class ReasonOrder(Model):
    """Reset a latched trip, take out of service: by whom, and why."""

    person: Person
    note: Reason


class ShelveOrder(Model):
    """Hide an alert until it comes back by itself: by whom, for how long, and why."""

    person: Person
    minutes: float = Field(gt=0, le=LONGEST_SHELF_MIN, allow_inf_nan=False)
    reason: Reason
