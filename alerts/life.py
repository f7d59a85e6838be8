"""The life of an alert after IEC 62682 and ISA-18.2, as one table: a state, what happens, the next state.

Two things run side by side. ``core`` is what the condition and people's acknowledgement make of the alert; it is the
table. What hides it (suppression by design, a shelf, being out of service) lies over it: the condition goes on being
followed beneath, so that nothing is lost while nobody is shown it.

Source: state diagram of ANSI/ISA-18.2-2016 and IEC 62682:2014 as public summaries tell it; latching, shelving,
suppression and out-of-service as OPC UA Part 9, 4.8. Where the summaries let what comes out of suppression be
unacknowledged always, here an acknowledgement that was given before is kept, and so is one that was not given.
"""

from enum import StrEnum
from typing import Final


class State(StrEnum):
    """Where an alert stands, in the word that is kept and shown."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"  # to normal, and nobody has acknowledged that it was there
    LATCHED = "latched"  # a trip whose cause has gone: waits for a person's acknowledgement and reset
    LATCHED_ACKNOWLEDGED = "latched acknowledged"  # waits for a person's reset
    SUPPRESSED = "suppressed"  # by design: folded under its cause, or made unknowable by a lost link
    SHELVED = "shelved"  # hidden by a person until a stated time
    OUT_OF_SERVICE = "out of service"  # hidden by a person until put back by hand


class Change(StrEnum):
    """What happens to an alert."""

    RAISED = "raised"
    WORSENED = "worsened"
    RETURNED = "returned"
    ACKNOWLEDGED = "acknowledged"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SUPPRESSED = "suppressed"
    RELEASED = "released"
    OUT_OF_SERVICE = "out-of-service"
    IN_SERVICE = "in-service"
    RESET = "reset"


#: nobody has acknowledged these yet: what a page counts, what is escalated
UNSEEN: Final = frozenset({State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED})
#: the condition stands
ACTIVE: Final = frozenset({State.UNACKNOWLEDGED, State.ACKNOWLEDGED})
#: not shown among what is to be dealt with
HIDDEN: Final = frozenset({State.SUPPRESSED, State.SHELVED, State.OUT_OF_SERVICE})
