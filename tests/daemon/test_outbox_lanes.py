"""Does each person get messages in order, and does a critical one overtake?"""

from __future__ import annotations

import pytest

from daemon.outbox_lanes import next_up
from daemon.store import Sending


def sending(number: int, person: str = "anna", priority: str = "high", way: str = "phone") -> Sending:
    """A message that is owed."""
    return Sending(f"m{number}", person, way, "t", "b", priority, "first", 0, number)


def numbers(
    waiting: list[Sending], flying: tuple[int, ...] = (), not_before: dict[int, float] | None = None
) -> tuple[list[int], float | None]:
    """The numbers that go now, and the wait, at second 100."""
    up = next_up(waiting, flying, not_before or {}, 100.0)
    return [s.number for s in up.now], up.wait


def test_the_oldest_of_each_lane_goes() -> None:
    """One for each person and way."""
    assert numbers([sending(1), sending(2), sending(3, "ben"), sending(4, way="mail")]) == ([1, 3, 4], None)


def test_a_message_with_the_service_holds_up_the_next() -> None:
    """In its own lane alone."""
    assert numbers([sending(1), sending(2), sending(3, "ben")], flying=(1,)) == ([3], None)


@pytest.mark.parametrize(("due", "expected"), [(99.9, ([1], None)), (100.0, ([1], None)), (107.5, ([], 7.5))])
def test_a_failed_message_waits_for_its_time_and_so_do_those_behind(due: float, expected: object) -> None:
    """Before, at and after it."""
    assert numbers([sending(1), sending(2)], not_before={1: due}) == expected


def test_the_soonest_next_try_is_waited_for() -> None:
    """Over all lanes."""
    assert numbers([sending(1), sending(2, "ben")], not_before={1: 130.0, 2: 110.0}) == ([], 10.0)


def test_a_critical_message_overtakes() -> None:
    """Those that wait behind a failed one as well as the failed one; within the critical ones order is kept."""
    waiting = [sending(1), sending(2), sending(3, priority="critical"), sending(4, priority="critical")]
    assert numbers(waiting) == ([3], None)
    assert numbers(waiting, not_before={1: 999.0}) == ([3], None)


def test_a_critical_message_does_not_wait_for_one_that_is_with_the_service() -> None:
    """It may hang there for long."""
    assert numbers([sending(1), sending(2, priority="critical")], flying=(1,)) == ([2], None)


def test_others_wait_until_no_critical_message_is_left() -> None:
    """Whether it is with the service or waits for its next try."""
    waiting = [sending(1), sending(2, priority="critical"), sending(3, priority="critical")]
    assert numbers(waiting, flying=(2,)) == ([], None)
    assert numbers(waiting, not_before={2: 105.0}) == ([], 5.0)
