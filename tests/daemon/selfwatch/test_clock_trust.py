"""Does the daemon wait for a clock that is behind, say so, and go on in the end?"""

from __future__ import annotations

import threading

import pytest

from daemon.clock import RELEASED, SystemClock
from daemon.selfwatch.clock_trust import GO_ON_AFTER, TELL_AFTER, wait_for_clock
from daemon.selfwatch.supervisor import Supervisor

HOUR = 3_600_000
KNOWN = RELEASED + 1000 * HOUR


class Board(threading.Event):
    """A board whose clock is an hour behind; waiting makes time pass, and at `set_at` seconds the clock is set."""

    def __init__(self, behind: int = HOUR, set_at: float = 1e9) -> None:
        super().__init__()
        self.behind, self.set_at, self.passed = behind, set_at, 0.0
        self.told: list[tuple[float, int, int]] = []
        self.clock = SystemClock(self.wall, lambda: round(self.passed * 1e9))

    def wall(self) -> int:
        """ns."""
        behind = self.behind if self.passed < self.set_at else 0
        return (KNOWN - behind) * 1_000_000 + round(self.passed * 1e9)

    def wait(self, timeout: float | None = None) -> bool:
        """As Event."""
        self.passed += timeout or 0.0
        return self.is_set()

    def trusts(self, least: int = KNOWN) -> bool:
        """Whether there is a time to go by."""
        tell = lambda minutes, left: self.told.append((self.passed, minutes, left))  # noqa: E731 - a line is clearer here
        return wait_for_clock(self.clock, least, self, Supervisor({}), tell, lambda: self.passed)


def test_a_clock_that_is_right_is_believed_at_once() -> None:
    """At the time that has passed itself."""
    board = Board(behind=0)
    assert board.trusts()
    assert (board.passed, board.told) == (0.0, [])


def test_it_waits_quietly_while_the_network_may_still_set_the_clock(caplog: pytest.LogCaptureFixture) -> None:
    """One line in the log, nobody woken; then it goes by the board's clock."""
    board = Board(set_at=TELL_AFTER - 1)
    assert board.trusts()
    assert board.told == []
    assert board.clock.now() >= KNOWN
    assert len([r for r in caplog.records if "has passed; waiting for it to be set" in r.message]) == 1


def test_people_are_told_once_that_nothing_is_watched() -> None:
    """With the minutes since the start and those until watching goes on."""
    board = Board(set_at=GO_ON_AFTER - 1)
    assert board.trusts()
    assert board.told == [(TELL_AFTER, 2, 8)]


def test_in_the_end_it_goes_on_from_the_last_time_known() -> None:
    """Slower than the board's clock, until that has caught up."""
    board = Board()
    assert board.trusts()
    assert board.passed == GO_ON_AFTER
    assert board.clock.now() == KNOWN
    board.passed += 10.0
    assert board.clock.now() == KNOWN + 9000
    board.passed += 36_000
    assert board.clock.now() == board.wall() // 1_000_000


def test_a_board_that_was_never_set_goes_on_from_when_this_version_was_made() -> None:
    """Also where nothing was ever stored."""
    board = Board(behind=KNOWN)
    assert board.trusts(0)
    assert board.clock.now() == RELEASED


def test_it_can_be_stopped_while_it_waits() -> None:
    """Without a time there is nothing to run by."""
    board = Board()
    board.set()
    assert not board.trusts()
