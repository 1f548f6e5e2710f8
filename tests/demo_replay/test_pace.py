"""Is a recorded day played at its speed around the marks, and faster elsewhere?"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from demo_replay.pace import AROUND, QUIET, Pace
from rules.durations import HOUR, MINUTE

MARK = (10 * HOUR, 11 * HOUR)


def test_the_plain_speed_holds_around_a_mark_to_the_millisecond() -> None:
    """At both ends of the stretch around a mark it is plain, just outside it is faster."""
    pace = Pace(600, (MARK,))
    first, last = MARK[0] - AROUND, MARK[1] + AROUND
    assert [pace.at(t) for t in (first - 1, first, last, last + 1)] == [600 * QUIET, 600, 600, 600 * QUIET]


def test_without_a_mark_the_whole_is_hurried() -> None:
    """On a day on which nothing is marked there is nothing to dwell on."""
    pace = Pace(600)
    assert pace.at(0) == 600 * QUIET
    assert pace.seconds(0, HOUR) == pytest.approx(3)


def test_the_time_it_takes_is_summed_over_slow_and_fast_stretches() -> None:
    """Ten hours up to the mark, the mark and an hour after it: by hand, 600 times as fast around it."""
    slow, fast = (1 * HOUR + 2 * AROUND) / 600 / 1000, (12 * HOUR - 1 * HOUR - 2 * AROUND) / 1200 / 1000
    assert Pace(600, (MARK,)).seconds(0, 12 * HOUR) == pytest.approx(slow + fast)


@given(st.lists(st.integers(0, 24 * 60), min_size=3, max_size=3), st.lists(st.integers(0, 24 * 60), max_size=4))
def test_seconds_add_up_wherever_a_stretch_is_cut(minutes: list[int], marks: list[int]) -> None:
    """A stretch takes as long as its two parts, at no less than the speed and no more than twice that."""
    a, b, c = (minute * MINUTE for minute in sorted(minutes))
    pace = Pace(600, tuple((mark * MINUTE, (mark + 30) * MINUTE) for mark in marks))
    assert pace.seconds(a, c) == pytest.approx(pace.seconds(a, b) + pace.seconds(b, c))
    assert (c - a) / 1000 / 600 / QUIET <= pace.seconds(a, c) + 1e-9 <= (c - a) / 1000 / 600 + 2e-9
