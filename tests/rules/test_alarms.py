"""Does an alarm move through its states as the standard says?"""

from __future__ import annotations

import pytest

from rules.alarms import TABLE, Alarm, Move, State
from rules.settings import Priority

S, M = State, Move

# ANSI/ISA-18.2-2016 and IEC 62682, as restated in the project's reference values (section 5.1).
STANDARD = [
    (S.NORMAL, M.ACTIVATE, S.UNACKNOWLEDGED),
    (S.UNACKNOWLEDGED, M.ACKNOWLEDGE, S.ACKNOWLEDGED),
    (S.ACKNOWLEDGED, M.RETURN, S.NORMAL),
    (S.UNACKNOWLEDGED, M.RETURN, S.RETURNED),
    (S.RETURNED, M.ACKNOWLEDGE, S.NORMAL),
    (S.RETURNED, M.ACTIVATE, S.UNACKNOWLEDGED),
    (S.LATCHED_UNACKNOWLEDGED, M.ACKNOWLEDGE, S.LATCHED_ACKNOWLEDGED),
    (S.LATCHED_ACKNOWLEDGED, M.RESET, S.NORMAL),
    (S.LATCHED_UNACKNOWLEDGED, M.ACTIVATE, S.UNACKNOWLEDGED),
    (S.LATCHED_ACKNOWLEDGED, M.ACTIVATE, S.UNACKNOWLEDGED),
]


def alarm(state: State, *, latch: bool = False, active: bool = False) -> Alarm:
    """An alarm in a state."""
    return Alarm("tank.warm", "high", Priority.HIGH, latch, state, active)


@pytest.mark.parametrize(("state", "move", "following"), STANDARD)
def test_every_row_of_the_standard_holds(state: State, move: Move, following: State) -> None:
    """The transition table of the standard, row by row."""
    assert alarm(state).next(move) is following


@pytest.mark.parametrize(
    ("state", "following"),
    [(S.UNACKNOWLEDGED, S.LATCHED_UNACKNOWLEDGED), (S.ACKNOWLEDGED, S.LATCHED_ACKNOWLEDGED)],
)
def test_a_latching_alarm_stays_after_its_return(state: State, following: State) -> None:
    """It waits for a reset; acknowledged or not is kept."""
    assert alarm(state, latch=True).next(M.RETURN) is following


@pytest.mark.parametrize("state", [s for s in S if s is not S.OUT_OF_SERVICE])
def test_any_state_can_be_shelved_or_taken_out_of_service(state: State) -> None:
    """By the operator, or by maintenance."""
    assert alarm(state).next(M.SHELVE) is S.SHELVED
    assert alarm(state).next(M.TAKE_OUT) is S.OUT_OF_SERVICE


@pytest.mark.parametrize("state", [S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE])
def test_what_was_set_aside_is_judged_anew(state: State) -> None:
    """Active: announced again, or suppressed while a cause stands; else normal."""
    assert alarm(state, active=True).next(M.RELEASE) is S.UNACKNOWLEDGED
    assert alarm(state, active=True).next(M.RELEASE, suppressed=True) is S.SUPPRESSED
    assert alarm(state, active=False).next(M.RELEASE) is S.NORMAL


@pytest.mark.parametrize("state", [S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE])
def test_a_condition_does_not_announce_what_is_set_aside(state: State) -> None:
    """Becoming active moves nothing there."""
    assert alarm(state).next(M.ACTIVATE) is None


def test_an_alarm_that_is_explained_becomes_suppressed_instead_of_announced() -> None:
    """Suppressed by design, and back to normal with its condition."""
    assert alarm(S.NORMAL).next(M.ACTIVATE, suppressed=True) is S.SUPPRESSED
    assert alarm(S.SUPPRESSED).next(M.RETURN) is S.NORMAL


LEGAL = (
    {(state, move) for state, move, _ in STANDARD}
    | {(S.UNACKNOWLEDGED, M.SUPPRESS), (S.ACKNOWLEDGED, M.SUPPRESS), (S.SUPPRESSED, M.RETURN)}
    | {(state, move) for state in S if state is not S.OUT_OF_SERVICE for move in (M.SHELVE, M.TAKE_OUT)}
    | {(state, M.RELEASE) for state in (S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE)}
)
ILLEGAL = [(state, move) for state in S for move in M if (state, move) not in LEGAL]
"""Every other pair of a state and a move."""


@pytest.mark.parametrize(("state", "move"), ILLEGAL)
def test_an_illegal_move_is_refused_with_a_reason(state: State, move: Move) -> None:
    """It changes nothing, and the reason names alarm, side and state."""
    found = alarm(state)
    assert found.next(move) is None
    assert found.refusal(move) == f"cannot {move.value} tank.warm (high): it is {state.value}"


def test_there_are_as_many_illegal_moves_as_the_standard_leaves() -> None:
    """Nine states and eight moves; what this file calls legal is what the table and the release hold, and no more."""
    assert len(S) == 9
    assert len(LEGAL) + len(ILLEGAL) == len(S) * len(M)
    assert set(TABLE) | {(state, M.RELEASE) for state in (S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE)} == LEGAL
