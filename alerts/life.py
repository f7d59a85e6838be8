"""The life of an alert after IEC 62682 and ISA-18.2, as one table: a state, what happens, the next state.

Two things run side by side. ``core`` is what the condition and people's acknowledgement make of the alert; it is the
table. What hides it (suppression by design, a shelf, being out of service) lies over it: the condition goes on being
followed beneath, so that nothing is lost while nobody is shown it.

Source: state diagram of ANSI/ISA-18.2-2016 and IEC 62682:2014 as public summaries tell it; latching, shelving,
suppression and out-of-service as OPC UA Part 9, 4.8. Where the summaries let what comes out of suppression be
unacknowledged always, here an acknowledgement that was given before is kept, and so is one that was not given.
"""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

import msgspec


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

_C, _S = Change, State
#: what the condition and a person's acknowledgement make of an alert; what is not here can't happen
TABLE: Final[Mapping[tuple[State, Change], State]] = {
    (_S.NORMAL, _C.RAISED): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _C.ACKNOWLEDGED): _S.ACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _C.WORSENED): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _C.RETURNED): _S.RETURNED,
    (_S.ACKNOWLEDGED, _C.WORSENED): _S.UNACKNOWLEDGED,
    (_S.ACKNOWLEDGED, _C.RETURNED): _S.NORMAL,
    (_S.RETURNED, _C.ACKNOWLEDGED): _S.NORMAL,
    (_S.RETURNED, _C.RAISED): _S.UNACKNOWLEDGED,
    (_S.LATCHED, _C.ACKNOWLEDGED): _S.LATCHED_ACKNOWLEDGED,
    (_S.LATCHED, _C.RAISED): _S.UNACKNOWLEDGED,
    (_S.LATCHED_ACKNOWLEDGED, _C.RAISED): _S.UNACKNOWLEDGED,
    (_S.LATCHED_ACKNOWLEDGED, _C.RESET): _S.NORMAL,
}
#: where a latching alert goes instead
LATCHING: Final[Mapping[tuple[State, Change], State]] = {
    (_S.UNACKNOWLEDGED, _C.RETURNED): _S.LATCHED,
    (_S.ACKNOWLEDGED, _C.RETURNED): _S.LATCHED_ACKNOWLEDGED,
}
#: what a person had hidden comes back as if it were new; a latched trip stays latched
COMES_BACK: Final[Mapping[State, State]] = {
    _S.ACKNOWLEDGED: _S.UNACKNOWLEDGED,
    _S.RETURNED: _S.NORMAL,
}
#: what hides an alert, the change that takes it away again
HIDES: Final[Mapping[Change, State]] = {
    _C.SUPPRESSED: _S.SUPPRESSED,
    _C.SHELVED: _S.SHELVED,
    _C.OUT_OF_SERVICE: _S.OUT_OF_SERVICE,
}
SHOWS: Final[Mapping[Change, State]] = {
    _C.RELEASED: _S.SUPPRESSED,
    _C.UNSHELVED: _S.SHELVED,
    _C.IN_SERVICE: _S.OUT_OF_SERVICE,
}
#: what hides most deeply is the state that is told
_DEPTH: Final = (_S.OUT_OF_SERVICE, _S.SHELVED, _S.SUPPRESSED)
_BY_A_PERSON: Final = frozenset({_S.SHELVED, _S.OUT_OF_SERVICE})
#: in which of these something that nobody was told of is to be told
_TO_TELL: Final = frozenset({_S.UNACKNOWLEDGED, _S.LATCHED})


class Life(msgspec.Struct, frozen=True, gc=False):
    """One alert: its ``core``, what hides it, and whether there is ``owed`` something that people were not told."""

    core: State = State.NORMAL
    hidden: frozenset[State] = frozenset()
    latching: bool = False
    owed: bool = False

    @property
    def state(self) -> State:
        """The state that is kept and shown."""
        return next((state for state in _DEPTH if state in self.hidden), self.core)

    @property
    def active(self) -> bool:
        """Whether the condition stands, hidden or not."""
        return self.core in ACTIVE

    @property
    def due(self) -> bool:
        """Whether people must be told now: something is owed, and nothing hides it."""
        return self.owed and self.state in _TO_TELL

    def after(self, change: Change) -> "Life | None":
        """What ``change`` makes of it; None where it can't happen to an alert in this state."""
        if change in HIDES:
            veil = HIDES[change]
            return None if veil in self.hidden else self._with(hidden=self.hidden | {veil})
        if change in SHOWS:
            return self._shown(SHOWS[change])
        if change in (Change.ACKNOWLEDGED, Change.RESET) and self.hidden & _BY_A_PERSON:
            return None
        to = LATCHING.get((self.core, change)) if self.latching else None
        to = to or TABLE.get((self.core, change))
        if to is None:
            return None
        if change in (Change.RAISED, Change.WORSENED):
            return self._with(core=to, owed=True)
        seen = change in (Change.ACKNOWLEDGED, Change.RESET)
        latching = self.latching and to is not State.NORMAL
        return self._with(core=to, owed=self.owed and not seen and to is not State.NORMAL, latching=latching)

    def _shown(self, veil: State) -> "Life | None":
        if veil not in self.hidden:
            return None
        hidden = self.hidden - {veil}
        if veil in _BY_A_PERSON:
            core = COMES_BACK.get(self.core, self.core)
            return self._with(hidden=hidden, core=core, owed=core in _TO_TELL)
        if self.core is State.RETURNED and self.owed and not hidden:
            # came and went while it was meaningless: nobody needs to hear of it
            return self._with(hidden=hidden, core=State.NORMAL, owed=False)
        return self._with(hidden=hidden)

    def told(self) -> "Life":
        """The same, now that people are being told."""
        return self._with(owed=False)

    def latched(self) -> "Life":
        """The same, from now on staying until a person resets it."""
        return self._with(latching=True)

    def _with(self, **fields: object) -> "Life":
        return msgspec.structs.replace(self, **fields)
