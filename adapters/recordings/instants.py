"""Which instants stand in a column of text? RFC 3339 or epoch seconds, as whole milliseconds UTC."""

from __future__ import annotations

import datetime as dt
import re

import numpy as np
from numpy.typing import NDArray

from adapters.payloads.times import LAST_SECOND, parse_epoch, parse_rfc3339
from adapters.recordings.decimals import parse_decimals, parse_number
from adapters.recordings.fields import Column, Mask
from rules.block import Times
from rules.errors import ValueRefused

_DASHES = (4, 7)
_COLONS = (13, 16)
_DIGITS = (0, 1, 2, 3, 5, 6, 8, 9, 11, 12, 14, 15, 17, 18)
_BARE = len("2026-04-03T02:14:30")
_LONGEST_FRACTION = 9
_PLAIN_NUMBER = re.compile(r"[+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?")
_MONTH_DAYS = np.array([0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], np.int64)
_EPOCH = dt.datetime(1970, 1, 1)  # noqa: DTZ001 - local clock readings are counted from here before their offset is known
_SLOT = 3600


class LocalTime:
    """The offsets of a time zone, remembered by the hour. As in parse_rfc3339, a repeated local time is its first."""

    def __init__(self, zone: dt.tzinfo) -> None:
        self.zone = zone
        self.twice = 0
        """How many of the local times so far were such as the clock change repeats."""
        self._repeats: dict[int, bool] = {}
        self._slots: dict[int, int | None] = {}

    def offsets(self, local: NDArray[np.int64]) -> NDArray[np.int64]:
        """Seconds to subtract from local clock readings (seconds since 1970 as if they were UTC): int64[n]."""
        slots, where = np.unique(local // _SLOT, return_inverse=True)
        known = [self._slot(int(slot)) for slot in slots]
        found = np.array([0 if offset is None else offset for offset in known], np.int64)[where]
        # Within these hours the clock is changed: ask for every reading.
        changing = np.array([offset is None for offset in known], np.bool_)[where]
        for row in np.flatnonzero(changing):
            found[row] = self._at(int(local[row]))
        doubtful = np.array([self._may_repeat(int(slot)) for slot in slots], np.bool_)[where]
        self.twice += sum(self._is_repeated(second) for second in local[doubtful].tolist())
        return found

    def _slot(self, slot: int) -> int | None:
        if slot not in self._slots:
            first, last = self._at(slot * _SLOT), self._at(slot * _SLOT + _SLOT - 1)
            self._slots[slot] = first if first == last else None
        return self._slots[slot]

    def _may_repeat(self, slot: int) -> bool:
        if slot not in self._repeats:
            ends = (slot * _SLOT, slot * _SLOT + _SLOT - 1)
            self._repeats[slot] = any(self._is_repeated(end) for end in ends)
        return self._repeats[slot]

    def _is_repeated(self, local: int) -> bool:
        return self._at(local, fold=1) < self._at(local)

    def _at(self, local: int, fold: int = 0) -> int:
        shift = (_EPOCH + dt.timedelta(seconds=local)).replace(tzinfo=self.zone, fold=fold).utcoffset()
        return round(shift.total_seconds()) if shift is not None else 0


def parse_instants(column: Column, local: LocalTime) -> tuple[Times, dict[int, str]]:
    """(ms UTC int64[n], row -> reason for the texts that are no time; their ms are 0)."""
    times = np.zeros(len(column), np.int64)
    written = (column.lengths >= _BARE) & (column.at(4) == 45)
    done = np.zeros(len(column), np.bool_)
    if bool(written.any()):
        found, good = _rfc3339(column.take(written), local)
        times[written] = found
        done[written] = good
    if not bool(written.all()):
        found, good = _epoch(column.take(~written))
        times[~written] = found
        done[~written] = good
    faults: dict[int, str] = {}
    for row in np.flatnonzero(~done):
        text = column.string(int(row))
        try:
            if _PLAIN_NUMBER.fullmatch(text):
                times[row] = parse_epoch(parse_number(text))
            else:
                times[row] = parse_rfc3339(text, local.zone)
        except ValueRefused as error:
            times[row] = 0
            faults[int(row)] = str(error) if text else "no time"
    return times, faults


def _epoch(column: Column) -> tuple[Times, Mask]:
    """Seconds in plain digits; `good` is false for all else."""
    mantissa, places = parse_decimals(column)
    last = LAST_SECOND * 1000
    good = (places >= 0) & (places <= 9) & ((places >= 3) | (np.abs(mantissa) <= last))
    found = milliseconds(np.where(good, mantissa, 0), np.where(good, places, 0).astype(np.int64))
    good &= np.abs(found) <= last
    return np.where(good, found, 0), good


def milliseconds(mantissa: NDArray[np.int64], places: NDArray[np.int64]) -> NDArray[np.int64]:
    """mantissa / 10^places seconds in ms, rounded half to even."""
    down = 10 ** np.maximum(places - 3, 0)
    whole, rest = np.divmod(mantissa * 10 ** np.maximum(3 - places, 0), down)
    rounded: NDArray[np.int64] = whole + ((2 * rest > down) | ((2 * rest == down) & (whole & 1 == 1)))
    return rounded


def _rfc3339(column: Column, local: LocalTime) -> tuple[Times, Mask]:
    """The usual spellings of at least 19 characters; `good` is false for what is wrong or rare (leap seconds)."""
    digit: dict[int, NDArray[np.int64]] = {}
    good = np.ones(len(column), np.bool_)
    for place in _DIGITS:
        value = column.at(place) - np.uint8(48)
        good &= value <= 9
        digit[place] = value.astype(np.int64)
    for place in _DASHES:
        good &= column.at(place) == 45
    for place in _COLONS:
        good &= column.at(place) == 58
    between = column.at(10)
    good &= (between == 84) | (between == 116) | (between == 32)
    year = digit[0] * 1000 + digit[1] * 100 + digit[2] * 10 + digit[3]
    month, day = digit[5] * 10 + digit[6], digit[8] * 10 + digit[9]
    hour, minute, second = (digit[i] * 10 + digit[i + 1] for i in (11, 14, 17))
    leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    good &= (year >= 1) & (month >= 1) & (month <= 12) & (hour < 24) & (minute < 60) & (second < 60)
    month = np.where(good, month, 1)
    good &= (day >= 1) & (day <= _MONTH_DAYS[month] + (leap & (month == 2)))
    seconds = _days(year, month, day) * 86400 + hour * 3600 + minute * 60 + second
    milliseconds, offset, bare, sound = _tail(column)
    good &= sound
    bare &= good
    if bool(bare.any()):
        offset[bare] = local.offsets(seconds[bare])
    return np.where(good, (seconds - offset) * 1000 + milliseconds, 0), good


def _days(year: NDArray[np.int64], month: NDArray[np.int64], day: NDArray[np.int64]) -> NDArray[np.int64]:
    """Days since 1970-01-01 in the Gregorian calendar, counted in years that begin in March."""
    year = year - (month <= 2)
    era = year // 400
    of_era = year - era * 400
    of_year = (153 * ((month + 9) % 12) + 2) // 5 + day - 1
    days: NDArray[np.int64] = era * 146097 + of_era * 365 + of_era // 4 - of_era // 100 + of_year - 719468
    return days


def _tail(column: Column) -> tuple[NDArray[np.int64], NDArray[np.int64], Mask, Mask]:
    """(ms of the fraction, offset in seconds, whether there is no offset, whether it is sound) after the seconds."""
    end = column.starts + column.lengths
    last = column.text[end - 1]
    utc = (last == 90) | (last == 122)
    sign = column.text[end - 6]
    signed = ((sign == 43) | (sign == 45)) & (column.text[end - 3] == 58) & (column.lengths >= _BARE + 6)
    offset = np.zeros(len(column), np.int64)
    sound = np.ones(len(column), np.bool_)
    if bool(signed.any()):
        hours_high, hours, minutes_high, minutes = (
            (column.text[end - back] - np.uint8(48)).astype(np.int64) for back in (5, 4, 2, 1)
        )
        fits = (hours_high <= 2) & (hours <= 9) & (minutes_high <= 5) & (minutes <= 9)
        fits &= hours_high * 10 + hours <= 23
        size = (hours_high * 10 + hours) * 3600 + (minutes_high * 10 + minutes) * 60
        offset = np.where(signed, np.where(sign == 45, -size, size), 0)
        sound &= fits | ~signed
    length = column.lengths - _BARE - np.where(signed, 6, np.where(utc, 1, 0))
    sound &= (length == 0) | ((length >= 2) & (length <= 1 + _LONGEST_FRACTION))
    fraction = np.zeros(len(column), np.int64)
    longest = int(np.where(sound, length, 0).max(initial=0))
    if longest:
        sound &= (length == 0) | (column.at(_BARE) == 46)
        for place in range(1, longest):
            value = column.at(_BARE + place) - np.uint8(48)
            inside = length > place
            sound &= ~inside | (value <= 9)
            fraction = np.where(inside, fraction * 10 + value, fraction)
        fraction = milliseconds(fraction, np.where(sound & (length > 0), length - 1, 0))
    return fraction, offset, ~utc & ~signed, sound
