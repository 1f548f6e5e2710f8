"""Which state is an alarm in, and what moves it on? The life cycle of ANSI/ISA-18.2 and IEC 62682."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from rules.settings import Priority


class State(StrEnum):
    """States of one alarm, that is of one side of one rule."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"
    LATCHED_UNACKNOWLEDGED = "latched-unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched-acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out-of-service"


class Move(StrEnum):
    """What can happen to an alarm."""

    ACTIVATE = "activate"
    RETURN = "return"
    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    SUPPRESS = "suppress"
    SHELVE = "shelve"
    TAKE_OUT = "take out of service"
    RELEASE = "release"
    """The end of shelving, suppression or being out of service: the alarm is judged anew."""


_N, _U, _A, _R = State.NORMAL, State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED
_LU, _LA = State.LATCHED_UNACKNOWLEDGED, State.LATCHED_ACKNOWLEDGED

TABLE: dict[tuple[State, Move], State] = {
    (_N, Move.ACTIVATE): _U,
    (_R, Move.ACTIVATE): _U,
    (_LU, Move.ACTIVATE): _U,
    (_LA, Move.ACTIVATE): _U,
    (_U, Move.RETURN): _R,
    (_A, Move.RETURN): _N,
    (State.SUPPRESSED, Move.RETURN): _N,
    (_U, Move.ACKNOWLEDGE): _A,
    (_R, Move.ACKNOWLEDGE): _N,
    (_LU, Move.ACKNOWLEDGE): _LA,
    (_LA, Move.RESET): _N,
    (_U, Move.SUPPRESS): State.SUPPRESSED,
    (_A, Move.SUPPRESS): State.SUPPRESSED,
    **{(state, Move.SHELVE): State.SHELVED for state in State if state is not State.OUT_OF_SERVICE},
    **{(state, Move.TAKE_OUT): State.OUT_OF_SERVICE for state in State if state is not State.OUT_OF_SERVICE},
}
"""(state, move) -> next state. A latching alarm returns to its latched states; RELEASE is judged anew."""

_LATCHED = {_U: _LU, _A: _LA}
_SET_ASIDE = (State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE)


@dataclass(slots=True)
class Alarm:
    """One side of one rule."""

    rule: str
    side: str
    priority: Priority
    latch: bool = False
    state: State = State.NORMAL
    active: bool = False
    """Whether the delayed condition is active."""
    since: int = 0
    """When the condition of the present or last activation became true, ms."""
    raised: int = 0
    """When it last became unacknowledged, ms."""
    shelved_until: int | None = None

    def next(self, move: Move, suppressed: bool = False) -> State | None:
        """The state that `move` leads to, or None where it is not allowed or changes nothing."""
        if move is Move.RELEASE:
            if self.state not in _SET_ASIDE:
                return None
            if not self.active:
                return State.NORMAL
            return State.SUPPRESSED if suppressed else State.UNACKNOWLEDGED
        if move is Move.ACTIVATE and suppressed and self.state not in _SET_ASIDE:
            return State.SUPPRESSED
        if move is Move.RETURN and self.latch and self.state in _LATCHED:
            return _LATCHED[self.state]
        return TABLE.get((self.state, move))

    def refusal(self, move: Move) -> str:
        """Why `move` is not allowed now."""
        return f"cannot {move.value} {self.rule} ({self.side}): it is {self.state.value}"

    def saved(self) -> list[Any]:
        """What must survive a restart."""
        return [self.state.value, self.active, self.since, self.raised, self.shelved_until]

    def load(self, saved: list[Any]) -> None:
        """Take up what `saved` gave."""
        self.state = State(saved[0])
        self.active, self.since, self.raised, self.shelved_until = saved[1:]
