"""When does a local time of day come next, and when do quiet hours end, also when clocks change?

Clocks: Europe/Dublin goes back on 2026-10-25 at 01:00 UTC (02:00 becomes 01:00) and went forward on 2026-03-29 at 01:00
UTC (01:00 became 02:00); the tz database.
"""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.durations import DAY, HOUR, MINUTE
from rules.errors import SettingError
from rules.local_time import Zone
from rules.time_of_day import QuietHours, next_at, time_of_day

DUBLIN = Zone("Europe/Dublin")
ZONES = [Zone(name) for name in ("Europe/Dublin", "Australia/Lord_Howe", "America/New_York", "Asia/Kolkata", "UTC")]
YEAR = st.integers(1_767_225_600, 1_767_225_600 + 366 * 86_400).map(lambda seconds: seconds * 1000)


def utc(text: str) -> int:
    """Milliseconds of a moment."""
    return round(dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC).timestamp() * 1000)


def test_a_time_of_day_is_read_as_written() -> None:
    """Hours and minutes; midnight and a minute before it are the ends."""
    assert (time_of_day("00:00"), time_of_day("07:30"), time_of_day("23:59")) == (
        0,
        7 * HOUR + 30 * MINUTE,
        DAY - MINUTE,
    )


@pytest.mark.parametrize("text", ["24:00", "7:30", "07:60", "noon", ""])
def test_a_time_that_is_none_is_refused_with_the_form(text: str) -> None:
    """As it should be written."""
    with pytest.raises(SettingError, match="07:30"):
        time_of_day(text)


@pytest.mark.parametrize(
    ("of_day", "after", "found"),
    [
        ("07:30", "2026-06-10T06:29:59", "2026-06-10T06:30:00"),
        ("07:30", "2026-06-10T06:30:00", "2026-06-11T06:30:00"),
        ("01:30", "2026-10-24T12:00:00", "2026-10-25T00:30:00"),  # comes twice: the first counts
        ("01:30", "2026-10-25T00:30:00", "2026-10-26T01:30:00"),
        ("01:30", "2026-03-28T12:00:00", "2026-03-29T01:30:00"),  # is left out: by the offset before it
        ("00:00", "2026-06-10T22:00:00", "2026-06-10T23:00:00"),
    ],
)
def test_the_next_time_of_day_is_the_first_later_one(of_day: str, after: str, found: str) -> None:
    """Once a day, whatever clocks do."""
    assert next_at(time_of_day(of_day), utc(after), DUBLIN) == utc(found)


@given(st.sampled_from(ZONES), st.integers(0, 1439), YEAR)
def test_a_time_of_day_comes_about_once_a_day(zone: Zone, minute: int, after: int) -> None:
    """Later than asked, by a day and what clocks change at most; it shows what was asked unless that is left out."""
    found = next_at(minute * MINUTE, after, zone)
    assert after < found <= after + DAY + HOUR
    shown = zone.moment(found)
    assert abs(shown.hour * 60 + shown.minute - minute) in (0, 30, 60)


@pytest.mark.parametrize(
    ("hours", "at", "end"),
    [
        ("22:00-07:00", "2026-06-10T20:59:59", None),
        ("22:00-07:00", "2026-06-10T21:00:00", "2026-06-11T06:00:00"),
        ("22:00-07:00", "2026-06-11T05:59:59", "2026-06-11T06:00:00"),
        ("22:00-07:00", "2026-06-11T06:00:00", None),
        ("13:00-14:00", "2026-06-10T12:30:00", "2026-06-10T13:00:00"),
        ("22:00-07:00", "2026-10-24T23:00:00", "2026-10-25T07:00:00"),  # an hour longer
        ("22:00-07:00", "2026-03-28T23:00:00", "2026-03-29T06:00:00"),  # an hour shorter
        ("22:00-01:30", "2026-10-25T00:15:00", "2026-10-25T00:30:00"),  # and quiet again when the hour comes twice
        ("22:00-01:30", "2026-10-25T01:15:00", "2026-10-25T01:30:00"),
        ("22:00-01:30", "2026-03-29T00:15:00", "2026-03-29T01:00:00"),  # 01:30 is left out
        ("20:00-24:00", "2026-06-10T22:30:00", "2026-06-10T23:00:00"),
    ],
)
def test_quiet_hours_end_by_the_clock_of_the_place(hours: str, at: str, end: str | None) -> None:
    """Below, at and above their limits."""
    assert QuietHours(hours, DUBLIN).until(utc(at)) == (None if end is None else utc(end))


@given(st.sampled_from(ZONES), st.integers(0, 95), st.integers(0, 95), st.lists(YEAR, min_size=1, max_size=4))
def test_quiet_hours_hold_until_their_end_and_not_at_it(zone: Zone, begin: int, end: int, moments: list[int]) -> None:
    """Asked in any order; until their end it is quiet, at it no more."""
    if begin == end:
        end = (end + 1) % 96
    text = f"{begin // 4:02d}:{begin % 4 * 15:02d}-{end // 4:02d}:{end % 4 * 15:02d}"
    quiet = QuietHours(text, zone)
    for moment in moments:
        until = quiet.until(moment)
        shown = zone.moment(moment)
        of_day = shown.hour * 4 + shown.minute / 15
        inside = begin <= of_day < end if begin < end else of_day >= begin or of_day < end
        assert (until is not None) == inside
        if until is not None:
            assert QuietHours(text, zone).until(until - 1) == until
            assert QuietHours(text, zone).until(until) is None
