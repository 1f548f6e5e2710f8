"""Are times that people write understood, and is everything else told apart?"""

from __future__ import annotations

import pytest

from demo_replay.moment_text import moment_of
from tests.replays import START


@pytest.mark.parametrize(
    "text", ["2026-04-02T09:00:00Z", "2026-04-02T11:00+02:00", "2026-04-02 10:00", "1775120400", " 1775120400.000 "]
)
def test_one_moment_may_be_written_in_many_ways(text: str) -> None:
    """With an offset, in the site's time, or in seconds since 1970."""
    assert moment_of(text, "Europe/Dublin") == START


@pytest.mark.parametrize("text", ["", "soon", "nan", "inf", "-1", "1e20", "1775120400000", "0001-01-01", "1969-12-31"])
def test_what_is_no_moment_of_our_calendar_is_none(text: str) -> None:
    """Words, milliseconds, and years before 1970 or after 9999."""
    assert moment_of(text, "Europe/Dublin") is None
