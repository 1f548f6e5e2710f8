"""Are moments and lengths of time shown so that a keeper can tell them apart?"""

from __future__ import annotations

import pytest

from demo_replay.moments import Moments, show_span
from tests.replays import DAY, HOUR, MINUTE, START


@pytest.mark.parametrize(
    ("ms", "shown"),
    [
        (0, "0 s"),
        (250, "250 ms"),
        (45_000, "45 s"),
        (99_999, "99 s"),
        (100_000, "2 min"),
        (35 * MINUTE, "35 min"),
        (59 * MINUTE + 29_999, "59 min"),
        (60 * MINUTE, "1 h"),
        (260 * MINUTE, "4 h 20 min"),
        (2 * DAY - 1, "48 h"),
        (2 * DAY + 5 * HOUR, "2 d 5 h"),
        (10 * DAY, "10 d"),
    ],
)
def test_lengths_are_shown_in_two_units_at_most(ms: int, shown: str) -> None:
    """Seconds below 100 s, minutes below two days, then hours."""
    assert show_span(ms) == shown


def test_moments_are_local() -> None:
    """Nine o'clock UTC in April is ten in Dublin."""
    moments = Moments("Europe/Dublin", (START, START + DAY))
    assert moments.minute(START) == " 2 Apr 10:00"
    assert moments.clock(START) == "10:00"
    assert moments.long(START) == "Thu 2 Apr 2026 10:00"


def test_the_year_is_shown_where_the_span_leaves_it() -> None:
    """A span into the next year."""
    assert Moments("UTC", (START, START + 300 * DAY)).minute(START) == " 2 Apr 2026 09:00"


def test_a_second_moment_shows_its_day_only_where_it_is_another() -> None:
    """One above the other, the hours aligned."""
    moments = Moments("UTC", (START, START + DAY))
    assert moments.pair(START, START + MINUTE) == " 2 Apr 09:00\n       09:01"
    assert moments.pair(START, START + DAY) == " 2 Apr 09:00\n 3 Apr 09:00"
