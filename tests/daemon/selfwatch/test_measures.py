"""Does the daemon see of itself what it should?"""

from __future__ import annotations

from pathlib import Path

import pytest

from adapters.intake import Arrived, Delivery
from daemon.queue import DeliveryQueue
from daemon.selfwatch.measures import REFUSED_WITHIN, STALLED, Listening, Measures, board_temperature, free_share
from daemon.store import Sending
from daemon.tally import Tally
from rules.durations import DAY, HOUR

START = 1_780_000_000_000
STARTS = [START + 1_000_000 - DAY + hour * HOUR for hour in range(4)]
"""When the daemon began again: a day before the first look, and then each hour."""


class Board:
    """A board whose clocks, disk and messages a test moves."""

    def __init__(self, tmp_path: Path) -> None:
        self.running = 1000.0
        self.step = 0.0
        self.free = 0.5
        self.critical_since: int | None = None
        self.degrees: float | None = 41.5
        self.tally = Tally()
        self.queue = DeliveryQueue()
        self.listening = Listening(self.queue, lambda: self.running)
        self.measures = Measures(
            tmp_path / "store.sqlite",
            self,
            self.listening,
            self.tally,
            lambda: self.critical_since,
            wall=self.wall,
            running=lambda: self.running,
            free=lambda path: self.free,
            starts=STARTS,
            board=lambda: self.degrees,
        )

    def wall(self) -> float:
        """The board's clock, seconds."""
        return START / 1000 + self.running + self.step

    def now(self) -> int:
        """As Clock."""
        return round(self.wall() * 1000)

    def pass_by(self, seconds: float, *, committing: bool = True) -> None:
        """Time passes, looked at twice a second."""
        for _ in range(round(seconds * 2)):
            self.running += 0.5
            self.tally.commits += committing
            self.measures.look()

    def counts(self) -> dict[str, int]:
        """point -> counts of the readings due now."""
        return {reading.point.removeprefix("tidebed."): reading.counts for reading in self.measures.readings().readings}


@pytest.fixture
def board(tmp_path: Path) -> Board:
    """Everything is well."""
    return Board(tmp_path)


def test_when_all_is_well_it_says_so(board: Board) -> None:
    """Ages and times are nothing, the disk is half free; readings are dated by the daemon's clock."""
    board.listening.put(Delivery("mqtt", [Arrived("a", None, 1, 2)]))
    assert board.counts() == {
        "readings_age": 0,
        "clock_jump": 0,
        "disk_free": 500,
        "unsent_age": 0,
        "refused": 0,
        "commit_time": 0,
        "starts": 3,
        "board_temperature": 415,
    }
    assert {reading.time for reading in board.measures.readings().readings} == {board.now()}


def test_the_age_counts_from_the_last_reading_and_not_from_an_empty_delivery(board: Board) -> None:
    """Refused messages are no readings."""
    board.listening.put(Delivery("mqtt", [Arrived("a", None, 1, 2)]))
    board.pass_by(40)
    board.listening.put(Delivery("mqtt"))
    board.pass_by(20)
    assert board.counts()["readings_age"] == 60
    assert len(board.queue) == 2


@pytest.mark.parametrize("step", [3600.0, -3600.0, 2.5])
def test_a_jump_of_the_clock_is_seen_either_way_and_told_once(board: Board, step: float) -> None:
    """By how much it moved against the time that really passed."""
    board.pass_by(10)
    board.step = step
    board.pass_by(10)
    assert board.counts()["clock_jump"] == round(abs(step) * 1000)
    board.pass_by(10)
    assert board.counts()["clock_jump"] == 0


def test_a_clock_that_is_led_slowly_does_not_jump(board: Board) -> None:
    """Half a millisecond a second, as time servers lead clocks (common practice, no source)."""
    for _ in range(100):
        board.step += 0.00025
        board.pass_by(0.5)
    assert board.counts()["clock_jump"] <= 1


def test_the_oldest_critical_message_ages(board: Board) -> None:
    """In whole seconds."""
    board.critical_since = board.now()
    board.pass_by(301)
    assert board.counts()["unsent_age"] == 301


def test_the_slowest_commit_since_the_last_time_counts(board: Board) -> None:
    """Even when the health line has forgotten it meanwhile."""
    board.tally.slowest_commit = 6.25
    board.pass_by(1)
    board.tally.slowest_commit = 0.1
    board.pass_by(1)
    assert board.counts()["commit_time"] == 6250


def test_a_store_that_takes_nothing_counts_as_slow_for_as_long_as_it_does(board: Board) -> None:
    """Beyond the time within which there is always a commit, and not at it."""
    board.pass_by(1)
    board.pass_by(STALLED, committing=False)
    assert board.measures.stalled() == 0
    board.pass_by(0.5, committing=False)
    assert board.measures.stalled() == STALLED + 0.5
    assert board.counts()["commit_time"] == round((STALLED + 0.5) * 1000)


def test_refusals_count_for_an_hour_and_those_of_our_own_points_never(board: Board) -> None:
    """Else the alarm that messages are refused would be refused and so keep itself alive."""
    board.measures.refused(Sending("m", "anna", "phone", "", "", "high", "first", 0, rule="tank.warm"))
    board.measures.refused(Sending("m", "anna", "phone", "", "", "high", "first", 0, rule="tidebed.not_taken"))
    assert board.counts()["refused"] == 1
    board.pass_by(REFUSED_WITHIN)
    assert board.counts()["refused"] == 1
    board.pass_by(0.5)
    assert board.counts()["refused"] == 0


def test_what_was_refused_before_the_daemon_began_again_counts_for_the_rest_of_its_hour(tmp_path: Path) -> None:
    """A restart is no reason to say that the service takes our messages again."""
    board = Board(tmp_path)
    refused = [
        Sending("m", "anna", "phone", "", "", "high", "first", 0, settled=board.now() - ago * 1000, rule=rule)
        for ago, rule in ((3601, "tank.warm"), (3590, "tank.warm"), (5, "tidebed.not_taken"))
    ]
    board.measures = Measures(
        tmp_path / "store.sqlite",
        board,
        board.listening,
        board.tally,
        lambda: None,
        wall=board.wall,
        running=lambda: board.running,
        refused=refused,
    )
    assert board.counts()["refused"] == 1
    board.pass_by(10.5)
    assert board.counts()["refused"] == 0


def test_the_disk_is_the_stores(tmp_path: Path) -> None:
    """A share of the whole; a folder that is gone raises no alarm of its own, for the store's own errors tell it."""
    assert 0 <= free_share(tmp_path / "store.sqlite") <= 1
    assert free_share(tmp_path / "gone" / "store.sqlite") == 1.0


def test_starts_are_counted_for_a_day(board: Board) -> None:
    """Up to 24 hours, that long ago excluded; one that lies ahead, after the clock was set back, is not counted."""
    seen = []
    for _ in range(4):
        seen.append(board.counts()["starts"])
        board.step += 3600
    board.step = -2 * 86400
    assert [*seen, board.counts()["starts"]] == [3, 2, 1, 0, 0]


def test_a_board_that_tells_no_temperature_makes_no_reading(board: Board) -> None:
    """Its rule is then unknown, not silent."""
    board.degrees = None
    assert "board_temperature" not in board.counts()


def test_the_hottest_part_of_the_board_counts(tmp_path: Path) -> None:
    """In thousandths of a degree, as the kernel's sysfs ABI has it; what is off, broken or absurd is left out."""
    for zone, text in enumerate(["51540\n", "48312\n", "", "hot\n", "2147483647\n", "-274000\n"]):
        folder = tmp_path / f"thermal_zone{zone}"
        folder.mkdir()
        (folder / "temp").write_text(text)
    assert board_temperature(tmp_path) == 51.54
    assert board_temperature(tmp_path / "nowhere") is None
