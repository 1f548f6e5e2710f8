"""Which instant does a time in a payload or a recording name? Whole milliseconds UTC."""

from __future__ import annotations

import datetime as dt
import re
from decimal import Decimal
from enum import StrEnum

from adapters.payloads.decoded import quote
from rules.errors import ValueRefused

LAST_SECOND = 253_402_300_799
"""9999-12-31T23:59:59Z; a larger number of seconds is something else, most often milliseconds."""

_RFC3339 = re.compile(
    r"([0-9]{4})-([0-9]{2})-([0-9]{2})[Tt ]([0-9]{2}):([0-9]{2}):([0-9]{2})"
    r"(?:\.([0-9]{1,18}))?(?:([Zz])|([+-])([0-9]{2}):([0-9]{2}))?"
)
_UNIX_DAY = 719_163  # date(1970, 1, 1).toordinal()


class TimeFormat(StrEnum):
    """How a sender writes times."""

    RFC3339 = "rfc3339"
    SECONDS = "s"
    MILLISECONDS = "ms"


def parse_rfc3339(text: str, zone: dt.tzinfo | None = None) -> int:
    """ms UTC of an RFC 3339 time; parts of a millisecond are rounded half to even.

    zone: where a time without an offset was written; None refuses such a time. A local time that the clock change
    repeats is taken as its first, one that it skips as if the clock had not been changed yet. A leap second
    (`:60`) is the second after it, as in POSIX time. Raises ValueRefused.
    """
    match = _RFC3339.fullmatch(text)
    if match is None:
        raise ValueRefused(f"{quote(text)} is no RFC 3339 time, as in 2026-04-03T02:14:30Z")
    year, month, day, hour, minute, second, fraction, utc, sign, off_hours, off_minutes = match.groups()
    leap = second == "60"
    try:
        local = dt.datetime(  # noqa: DTZ001 - the offset is applied below, by whole numbers
            int(year), int(month), int(day), int(hour), int(minute), 59 if leap else int(second)
        )
    except ValueError as error:
        raise ValueRefused(f"{quote(text)} is no time: {error}") from None
    seconds = (local.toordinal() - _UNIX_DAY) * 86400 + local.hour * 3600 + local.minute * 60 + local.second + leap
    if sign:
        if int(off_hours) > 23 or int(off_minutes) > 59:
            raise ValueRefused(f"{quote(text)} has an offset that is no time of day")
        offset = int(off_hours) * 3600 + int(off_minutes) * 60
        seconds -= offset if sign == "+" else -offset
    elif not utc:
        if zone is None:
            raise ValueRefused(f"{quote(text)} has no offset; write Z or +01:00 after it")
        shift = local.replace(tzinfo=zone).utcoffset()
        seconds -= round(shift.total_seconds()) if shift is not None else 0
    return seconds * 1000 + (_milliseconds(fraction) if fraction else 0)


def _milliseconds(fraction: str) -> int:
    if len(fraction) <= 3:
        return int(fraction.ljust(3, "0"))
    step = int(10 ** (len(fraction) - 3))
    whole, rest = divmod(int(fraction), step)
    return whole + (2 * rest > step or (2 * rest == step and whole & 1))


def parse_epoch(value: Decimal, *, milliseconds: bool = False) -> int:
    """ms UTC of a number of seconds (or milliseconds) since 1970, rounded half to even.

    Raises ValueRefused outside the years up to 9999, with a hint where seconds look like milliseconds.
    """
    if not value.is_finite() or value.adjusted() > 30:
        raise ValueRefused(f"{quote(str(value))} is no time since 1970")
    if value.adjusted() < -9:
        return 0
    above, below = value.as_integer_ratio()
    whole, rest = divmod(above if milliseconds else above * 1000, below)
    if 2 * rest > below or (2 * rest == below and whole & 1):
        whole += 1
    if abs(whole) > LAST_SECOND * 1000:
        hint = "" if milliseconds else "; is it in milliseconds?"
        raise ValueRefused(f"{quote(str(value))} lies beyond the year 9999{hint}")
    return whole


def parse_time(value: object, form: TimeFormat) -> int:
    """ms UTC of a time as a JSON value in the declared form; raises ValueRefused where it is not in that form."""
    if form is TimeFormat.RFC3339:
        if not isinstance(value, str):
            raise ValueRefused(f"{quote(value)} is no RFC 3339 text")
        return parse_rfc3339(value)
    if not isinstance(value, Decimal):
        raise ValueRefused(f"{quote(value)} is no number of {form} since 1970")
    return parse_epoch(value, milliseconds=form is TimeFormat.MILLISECONDS)
