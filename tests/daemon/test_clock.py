"""Does the daemon's clock never go back, and yet go on?"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.clock import SystemClock

NS = 1_000_000_000
START = 1_780_000_000


class Board:
    """The board's two clocks, in nanoseconds."""

    def __init__(self) -> None:
        self.wall, self.monotonic = START * NS, 5 * NS

    def clock(self) -> SystemClock:
        """What the daemon goes by."""
        return SystemClock(lambda: self.wall, lambda: self.monotonic)

    def pass_by(self, seconds: float) -> None:
        """Both go on."""
        self.wall += round(seconds * NS)
        self.monotonic += round(seconds * NS)


def test_it_shows_the_boards_time() -> None:
    """To the millisecond, and follows it when it is set forward."""
    board = Board()
    clock = board.clock()
    board.pass_by(1.5)
    assert clock.now() == START * 1000 + 1500
    board.wall += 3600 * NS
    assert clock.now() == (START + 3600) * 1000 + 1500


def test_when_the_board_is_set_back_it_goes_on_at_nine_tenths_until_they_meet() -> None:
    """An hour is made up for in ten."""
    board = Board()
    clock = board.clock()
    before = clock.now()
    board.wall -= 3600 * NS
    for _ in range(1000):
        board.pass_by(0.01)
        clock.now()
    assert clock.now() == before + 9000
    board.pass_by(36_000)
    assert clock.now() == board.wall // 1_000_000


@pytest.mark.parametrize(("seconds", "leaps"), [(9.9, False), (10, False), (10.1, True), (7200, True)])
def test_it_tells_once_where_it_was_set_forward_to(seconds: float, leaps: bool) -> None:
    """Below, at and above ten seconds; what passes on both clocks is no leap, however long."""
    board = Board()
    clock = board.clock()
    clock.now()
    board.pass_by(3600)
    board.wall += round(seconds * NS)
    there = clock.now()
    board.pass_by(1)
    clock.now()
    assert clock.leap() == (there if leaps else None)
    assert clock.leap() is None


def test_what_is_caught_up_after_being_set_back_is_no_leap() -> None:
    """Ours is ahead then, and the board's comes up to it."""
    board = Board()
    clock = board.clock()
    clock.now()
    board.wall -= 3600 * NS
    clock.now()
    board.wall += 3600 * NS
    clock.now()
    assert clock.leap() is None


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(-200, 200)), max_size=40))
def test_it_never_goes_back(steps: list[tuple[float, float]]) -> None:
    """Whatever anybody does to the board's clock."""
    board = Board()
    clock = board.clock()
    last = clock.now()
    for seconds, jump in steps:
        board.pass_by(seconds)
        board.wall += round(jump * NS)
        now = clock.now()
        assert now >= last
        last = now
