"""Is a written time the right instant?"""

from __future__ import annotations

import datetime as dt
import zoneinfo
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.payloads.times import TimeFormat, parse_epoch, parse_rfc3339, parse_time
from rules.errors import ValueRefused

DUBLIN = zoneinfo.ZoneInfo("Europe/Dublin")


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        # RFC 3339 section 5.8
        ("1985-04-12T23:20:50.52Z", 482196050520),
        ("1996-12-19T16:39:57-08:00", 851042397000),
        ("1990-12-31T23:59:60Z", 662688000000),
        ("1990-12-31T15:59:60-08:00", 662688000000),
        ("1937-01-01T12:00:27.87+00:20", -1041337172130),
        # the dates of the SenML examples
        ("2010-06-08T18:01:16.001Z", 1276020076001),
        ("2011-10-31T13:24:24Z", 1320067464000),
        ("2011-10-31t13:24:24z", 1320067464000),
        ("2011-10-31 13:24:24-00:00", 1320067464000),
        ("2011-10-31T13:24:24.0005Z", 1320067464000),
        ("2011-10-31T13:24:24.0015Z", 1320067464002),
        ("2011-10-31T13:24:24.9996Z", 1320067465000),
    ],
)
def test_rfc_3339(text: str, ms: int) -> None:
    """The examples of RFC 3339 section 5.8 and others; parts of a millisecond round half to even."""
    assert parse_rfc3339(text) == ms


@pytest.mark.parametrize(
    "text",
    [
        "", "now", "2011-10-31", "20111031T132424Z", "2011-10-31T13:24Z", "2011-13-01T00:00:00Z",
        "2011-02-29T00:00:00Z", "2011-10-31T24:00:00Z", "2011-10-31T13:60:00Z", "2011-10-31T13:24:61Z",
        "2011-10-31T13:24:24+24:00", "2011-10-31T13:24:24+01:60", "2011-10-31T13:24:24+0100",
        "2011-10-31T13:24:24.Z", "0000-01-01T00:00:00Z", "2011-10-31T13:24:24Z ", "٢٠١١-10-31T13:24:24Z",
    ],
)  # fmt: skip
def test_what_is_no_rfc_3339_time_is_refused(text: str) -> None:
    """Near misses are refused, not guessed at."""
    with pytest.raises(ValueRefused):
        parse_rfc3339(text, DUBLIN)


def test_a_time_without_an_offset_needs_a_zone() -> None:
    """A payload has no zone to fall back on; a recording has."""
    with pytest.raises(ValueRefused, match="no offset"):
        parse_rfc3339("2026-04-03T02:14:30")
    assert parse_rfc3339("2026-04-03T02:14:30", DUBLIN) == parse_rfc3339("2026-04-03T01:14:30Z")


def test_a_local_time_that_comes_twice_is_its_first() -> None:
    """On 2026-10-25 Dublin puts its clocks back from 02:00 to 01:00: 01:30 is taken as summer time."""
    assert parse_rfc3339("2026-10-25T01:30:00", DUBLIN) == parse_rfc3339("2026-10-25T00:30:00Z")


def test_a_local_time_that_is_skipped_counts_from_before_the_change() -> None:
    """On 2026-03-29 Dublin has no 01:30: it is taken as 90 minutes past midnight, 02:30 summer time."""
    assert parse_rfc3339("2026-03-29T01:30:00", DUBLIN) == parse_rfc3339("2026-03-29T02:30:00+01:00")


@given(st.datetimes(min_value=dt.datetime(1, 1, 2), max_value=dt.datetime(9999, 12, 30)), st.integers(-1439, 1439))  # noqa: DTZ001 - the offset is drawn apart
def test_every_time_with_an_offset_agrees_with_the_standard_library(local: dt.datetime, minutes: int) -> None:
    """The same instant as datetime finds, cut to whole milliseconds first."""
    local = local.replace(microsecond=local.microsecond // 1000 * 1000)
    aware = local.replace(tzinfo=dt.timezone(dt.timedelta(minutes=minutes)))
    text = aware.isoformat(timespec="milliseconds")
    assert parse_rfc3339(text) == (aware - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)) // dt.timedelta(milliseconds=1)


@pytest.mark.parametrize(
    ("text", "milliseconds", "ms"),
    [
        ("1276020076.001", False, 1276020076001),
        ("1276020076001", True, 1276020076001),
        ("1.2760200760010005E9", False, 1276020076001),
        ("1276020076.0015", False, 1276020076002),
        ("-1.5", False, -1500),
        ("1E-300", False, 0),
        ("253402300799", False, 253402300799000),
    ],
)
def test_epoch(text: str, milliseconds: bool, ms: int) -> None:
    """Seconds or milliseconds since 1970, as decimals."""
    assert parse_epoch(Decimal(text), milliseconds=milliseconds) == ms


@pytest.mark.parametrize("text", ["253402300800", "1276020076001", "1E+29", "1E+9999", "NaN", "Infinity"])
def test_seconds_beyond_the_year_9999_are_refused(text: str) -> None:
    """Milliseconds where seconds are meant do not pass."""
    with pytest.raises(ValueRefused):
        parse_epoch(Decimal(text))


def test_milliseconds_taken_for_seconds_get_a_hint() -> None:
    """The message says what the mistake most often is."""
    with pytest.raises(ValueRefused, match="is it in milliseconds"):
        parse_epoch(Decimal(1276020076001))


@pytest.mark.parametrize(
    ("value", "form"),
    [
        ("1276020076", TimeFormat.SECONDS),
        (Decimal(1276020076), TimeFormat.RFC3339),
        (True, TimeFormat.SECONDS),
        (None, TimeFormat.MILLISECONDS),
        ([], TimeFormat.RFC3339),
    ],
)
def test_a_time_in_another_form_than_declared_is_refused(value: object, form: TimeFormat) -> None:
    """The declared form is the only one."""
    with pytest.raises(ValueRefused):
        parse_time(value, form)
