"""When to acknowledge early, and when is a backlog through?"""

from __future__ import annotations

import pytest

from adapters.intake import Arrived
from adapters.mqtt.backlog import Backlog
from adapters.mqtt.window import ANNOUNCED, USUAL, Window

NOW = 1_781_092_800_000
"""When the broker accepted us, ms UTC."""


def dated(*times: int | None) -> list[Arrived]:
    """A reading of each time, ms UTC or none of its own."""
    return [Arrived("tank.oxygen", time, 700, 2) for time in times]


@pytest.mark.parametrize(("open_messages", "filling"), [(9, False), (10, True), (11, True)])
def test_an_assumed_window_asks_for_acknowledgements_when_half_full(open_messages: int, filling: bool) -> None:
    """Below, at and above half of the usual twenty."""
    window = Window(USUAL)
    told = [window.heard() for _ in range(open_messages)]
    assert told[-1] is filling


def test_a_broker_that_sends_more_than_was_assumed_has_a_larger_window() -> None:
    """The twenty-first message proves it."""
    window = Window(USUAL)
    told = [window.heard() for _ in range(30)]
    assert told == [False] * 9 + [True] * 11 + [False] * 10


def test_a_broker_that_stops_at_the_same_number_again_and_again_is_found_out() -> None:
    """It was announced 65,535, but sends 50 ahead: after three rounds half of that asks for acknowledgements."""
    window = Window(ANNOUNCED)
    for _ in range(3):
        assert [window.heard() for _ in range(50)] == [False] * 50
        for _ in range(50):
            window.acknowledged()
    assert [window.heard() for _ in range(25)] == [False] * 24 + [True]


def test_uneven_rounds_prove_nothing() -> None:
    """A steady trickle, or bursts of any size, do not make the window small."""
    window = Window(ANNOUNCED)
    for size in (50, 60, 50, 60, 50, 9, 9, 9, 9):
        for _ in range(size):
            window.heard()
        for _ in range(size):
            window.acknowledged()
    assert window.size == ANNOUNCED


def test_a_new_session_has_no_backlog() -> None:
    """Once the broker confirms the topics, nothing can be waiting."""
    backlog = Backlog()
    backlog.accepted(0.0, resumed=False, clock=NOW)
    assert not backlog.is_drained(10.0, filling=False)
    backlog.subscribed(10.0)
    assert backlog.is_drained(10.0, filling=False)


def test_a_resumed_session_is_drained_after_half_a_second_of_quiet() -> None:
    """Below, at and above; each message from before begins the wait anew; once through, it stays so."""
    backlog = Backlog()
    backlog.accepted(0.0, resumed=True, clock=NOW)
    backlog.subscribed(0.0)
    backlog.heard(1.0, dated(NOW - 1))
    assert not backlog.is_drained(1.25, filling=False)
    backlog.heard(1.25, dated(NOW - 1))
    assert not backlog.is_drained(1.5, filling=False)
    assert not backlog.is_drained(1.75, filling=True)  # the broker may only be waiting for acknowledgements
    assert backlog.is_drained(1.75, filling=False)
    backlog.heard(1.75, dated(NOW - 1))
    assert backlog.is_drained(1.75, filling=False)


@pytest.mark.parametrize("times", [[NOW], [NOW + 60_000], [None], [], [NOW - 1, NOW], [None, NOW]])
def test_what_is_no_older_than_the_connection_does_not_prolong_the_wait(times: list[int | None]) -> None:
    """A site that is never quiet is waited for no longer: what is dated later, or not at all, is no backlog."""
    backlog = Backlog()
    backlog.accepted(0.0, resumed=True, clock=NOW)
    backlog.subscribed(0.0)
    backlog.heard(0.25, dated(NOW - 1))
    for quarter in (2, 3):
        assert not backlog.is_drained(quarter / 4 - 0.125, filling=False)
        backlog.heard(quarter / 4, dated(*times))
        backlog.acknowledged(quarter / 4)
    assert backlog.is_drained(0.75, filling=False)


def test_while_there_is_no_time_every_message_with_one_may_be_of_the_backlog() -> None:
    """A board that has just started may not know the time yet."""
    backlog = Backlog()
    backlog.accepted(0.0, resumed=True, clock=0)
    backlog.subscribed(0.0)
    backlog.heard(0.25, dated(NOW))
    assert not backlog.is_drained(0.5, filling=False)
    assert backlog.is_drained(0.75, filling=False)


def test_an_acknowledgement_prolongs_the_wait_while_old_messages_come() -> None:
    """The broker may have waited for it with the next message of the backlog."""
    backlog = Backlog()
    backlog.accepted(0.0, resumed=True, clock=NOW)
    backlog.subscribed(0.0)
    backlog.heard(0.25, dated(NOW - 1))
    backlog.acknowledged(0.5)
    assert not backlog.is_drained(0.75, filling=False)
    assert backlog.is_drained(1.0, filling=False)


@pytest.mark.parametrize(
    ("messages", "resumed", "noted"),
    [(999, True, False), (1000, True, True), (1020, True, True), (1021, True, False), (1000, False, False)],
)
def test_a_backlog_that_looks_like_a_limit_is_told(messages: int, resumed: bool, noted: bool) -> None:
    """A broker that drops the thousand-and-first message says nothing; so we say what it looks like."""
    backlog = Backlog()
    backlog.accepted(0.0, resumed=resumed, clock=NOW)
    backlog.subscribed(0.0)
    backlog.messages = messages
    assert backlog.note() is None
    assert backlog.is_drained(1.0, filling=False)
    note = backlog.note()
    assert (note is not None and f"{messages} messages" in note) is noted
